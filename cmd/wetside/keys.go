package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"text/tabwriter"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/api"
	"wetside/lab/database"
	"wetside/lab/signin"
)

const keysSynopsis = `usage: wetside keys [--rotate | --revoke]

Lists the keys that sign access tokens. The server changes them by itself once
in thirty days; --rotate has a new one sign from two minutes on, and honours
what the old one signed until it expires. --revoke is for when a key may have
been seen: it throws all keys away, and within half a minute no access token of
before works on any server. Members' devices renew theirs by themselves.

It goes by WETSIDE_DATABASE_URL, WETSIDE_SECRET, WETSIDE_TRIAL and
WETSIDE_TOKEN_LIFETIME, as serve does.
`

// runKeys is "wetside keys".
func runKeys(ctx context.Context, args, environ []string, _ io.Reader, stdout, _ io.Writer) error {
	fs := flag.NewFlagSet("keys", flag.ContinueOnError)
	rotate := fs.Bool("rotate", false, "have a new key sign from two minutes on")
	revoke := fs.Bool("revoke", false, "throw all keys away and make one that signs at once")
	if done, err := parse(fs, args, keysSynopsis, stdout); done {
		return err
	}
	if fs.NArg() > 0 || *rotate && *revoke {
		return &exitError{2, errors.New("takes one of --rotate and --revoke, and no arguments; see wetside keys --help")}
	}
	s, err := readSettings(environ)
	if err != nil {
		return &exitError{2, err}
	}
	vault, err := api.Vault(s.secret(), s.TokenLifetime.Std())
	if err != nil {
		return err
	}
	pool, err := api.Connect(ctx, s.DatabaseURL, leastPool, 0)
	if err != nil {
		return &exitError{2, err}
	}
	defer pool.Close()
	now := time.Now().UTC().Truncate(time.Microsecond)
	return database.NewStore(pool, nil).InTx(ctx, database.Writing, "", func(tx pgx.Tx) error {
		var err error
		switch {
		case *rotate:
			_, err = vault.Rotate(ctx, tx, now)
		case *revoke:
			err = vault.Revoke(ctx, tx, now)
		}
		if err != nil {
			return err
		}
		ring, lost, err := vault.Ring(ctx, tx, now)
		if err != nil {
			return err
		}
		return printKeys(stdout, ring, lost)
	})
}

func printKeys(w io.Writer, ring signin.Ring, lost int) error {
	table := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(table, "KEY\tSIGNS FROM\tUNTIL\tHONOURED UNTIL")
	for _, k := range ring {
		fmt.Fprintf(table, "%s\t%s\t%s\t%s\n", k.ID, k.SignsFrom.Format(time.RFC3339), instantOr(k.SignsUntil), instantOr(k.HonouredUntil))
	}
	if err := table.Flush(); err != nil {
		return err
	}
	if lost > 0 {
		fmt.Fprintf(w, "%d more cannot be opened: they were sealed under another secret\n", lost)
	}
	return nil
}

func instantOr(t *time.Time) string {
	if t == nil {
		return "its successor"
	}
	return t.Format(time.RFC3339)
}
