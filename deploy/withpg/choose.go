package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"

	"wetside/deploy/localpg"
)

// database is a PostgreSQL of our own. URL stays the same over Stop and Start.
type database interface {
	URL() string
	Start(context.Context) error
	Stop() error
	Close() error
}

// choose starts the first kind of server that can be had here, and says on log
// which that is.
func choose(ctx context.Context, log io.Writer) (database, error) {
	switch only := os.Getenv("WETSIDE_TEST_POSTGRES"); only {
	case "docker":
		return startContainer(ctx, log)
	case "local":
		return startLocal(ctx, log)
	case "":
	default:
		return nil, fmt.Errorf("WETSIDE_TEST_POSTGRES is %q; it may be docker or local", only)
	}
	db, docker := startContainer(ctx, log)
	if docker == nil {
		return db, nil
	}
	db, local := startLocal(ctx, log)
	if local == nil {
		return db, nil
	}
	return nil, fmt.Errorf("no PostgreSQL to be had:\n%w\n"+
		"Install PostgreSQL or start Docker, or set WETSIDE_TEST_DATABASE_URL to a server whose role may create databases",
		errors.Join(docker, local))
}

func startLocal(ctx context.Context, log io.Writer) (database, error) {
	bin, err := localpg.FindBinaries()
	if err != nil {
		return nil, err
	}
	server, err := localpg.Start(ctx, localpg.Options{BinDir: bin})
	if err != nil {
		return nil, err
	}
	fmt.Fprintln(log, "PostgreSQL: a private server from", bin)
	return server, nil
}
