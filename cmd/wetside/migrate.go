package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"

	"wetside/api"
	"wetside/migrations"
)

const migrateSynopsis = `usage: wetside migrate

Brings the database at WETSIDE_DATABASE_URL up to date and exits. serve does
the same by itself; this is for those who want it done before. It is safe while
servers run, and twice at once.
`

// runMigrate is "wetside migrate".
func runMigrate(ctx context.Context, args, environ []string, _ io.Reader, stdout, _ io.Writer) error {
	fs := flag.NewFlagSet("migrate", flag.ContinueOnError)
	if done, err := parse(fs, args, migrateSynopsis, stdout); done {
		return err
	}
	if fs.NArg() > 0 {
		return &exitError{2, errors.New("takes no arguments; see wetside migrate --help")}
	}
	url, err := setting(environ, "DatabaseURL")
	if err != nil {
		return err
	}
	if url == "" {
		return &exitError{2, errors.New(settingPrefix + "DATABASE_URL must be given")}
	}
	pool, err := api.Connect(ctx, url, leastPool, 0)
	if err != nil {
		return &exitError{2, err}
	}
	defer pool.Close()
	applied, err := migrations.Up(ctx, pool)
	if err != nil {
		return err
	}
	at, _, err := migrations.Current(ctx, pool)
	if err != nil {
		return err
	}
	fmt.Fprintf(stdout, "applied %d migrations; the database is at version %d\n", applied, at)
	return nil
}
