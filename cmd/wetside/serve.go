package main

import (
	"context"
	"crypto/rand"
	"errors"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"runtime/debug"
	"slices"
	"strings"
	_ "time/tzdata" // labs name time zones; the machine may have none

	"wetside/api"
	"wetside/lab/database"
	"wetside/lab/jobs"
	"wetside/lab/signin"
	"wetside/lab/telling"
	"wetside/openapi"
	"wetside/scheduling"
)

const serveSynopsis = `usage: wetside serve [--probe]

Serves the API. The database is brought up to date first; while it cannot be
reached the server listens, /readyz answers 503, and it keeps trying. SIGTERM
lets requests and jobs under way finish. The log is JSON on standard output.

Environment (with what holds unless given):
`

// runServe is "wetside serve". It fails with an exitError of code 2 on
// settings that cannot be used.
func runServe(ctx context.Context, args, environ []string, _ io.Reader, stdout, _ io.Writer) error {
	fs := flag.NewFlagSet("serve", flag.ContinueOnError)
	probing := fs.Bool("probe", false, "ask the server at WETSIDE_LISTEN whether it is ready, and exit with 0 if it is")
	if done, err := parse(fs, args, serveSynopsis+describeSettings()+"\nOptions:", stdout); done {
		return err
	}
	if fs.NArg() > 0 {
		return &exitError{2, errors.New("takes no arguments; see wetside serve --help")}
	}
	if *probing {
		return probe(ctx, environ)
	}
	s, err := readSettings(environ)
	if err != nil {
		return &exitError{2, err}
	}
	if !slices.ContainsFunc(environ, func(v string) bool { return strings.HasPrefix(v, "GOGC=") }) {
		debug.SetGCPercent(garbage)
	}
	return serve(ctx, s, slog.New(slog.NewJSONHandler(stdout, &slog.HandlerOptions{Level: s.LogLevel})))
}

// garbage is how much of it there may be, in percent of what is in use, before it
// is collected: a server's heap is small, and collecting it at the usual 100 takes
// a tenth of its time.
const garbage = 400

// serve listens, brings the database up to date, and answers until ctx is done.
func serve(ctx context.Context, s settings, log *slog.Logger) error {
	reference, err := openapi.Reference()
	if err != nil {
		return fmt.Errorf("reference page: %w", err)
	}
	// The pool outlives ctx: requests under way still need it.
	pool, err := api.Connect(context.WithoutCancel(ctx), s.DatabaseURL, s.PoolMax, s.PoolIdle)
	if err != nil {
		return &exitError{2, err}
	}
	defer pool.Close()
	provider, err := s.provider(ctx, log)
	if err != nil {
		return &exitError{2, err}
	}
	a, err := api.New(api.Config{
		Pool: pool, Contract: openapi.Document, Reference: reference,
		Secret: s.secret(), Issuer: s.Issuer, Audience: s.Audience, TokenLifetime: s.TokenLifetime,
		SetupCode: *s.SetupCode, PasswordLength: s.PasswordLength, Provider: provider,
		Mails: s.SMTPURL != "", SignInPage: s.SignInPage,
		Limits:  api.Limits{Address: *s.RateAddress, Member: *s.RateMember, SignIn: *s.RateSignIn},
		Proxies: s.Proxies, Origins: s.Origins, Trial: s.Trial, Log: log,
	})
	if err != nil {
		return err
	}
	engine, closeJobs, err := startable(ctx, s, a, log)
	if err != nil {
		return err
	}
	defer closeJobs()
	listener, err := listen(ctx, s)
	if err != nil {
		return err
	}
	log.Info("listening", "address", listener.Addr().String(), "trial", s.Trial)
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	started := make(chan struct{})
	go func() {
		defer close(started)
		if err := a.Migrate(ctx); err != nil {
			cancel(err)
			return
		}
		if err := engine.Start(ctx); err != nil {
			cancel(err)
			return
		}
		go a.Tend(ctx)
	}()
	err = a.Serve(ctx, listener, s.DrainDelay.Std(), s.ShutdownGrace.Std())
	// Jobs stop after the requests that ask for them, and before the pools close.
	cancel(nil)
	<-started
	ending, stop := context.WithTimeout(context.WithoutCancel(ctx), s.ShutdownGrace.Std())
	defer stop()
	err = errors.Join(err, engine.Stop(ending))
	if cause := context.Cause(ctx); !errors.Is(cause, context.Canceled) {
		err = errors.Join(cause, err)
	}
	return err
}

// startable makes the job engine, on connections of its own, and what closes them.
func startable(ctx context.Context, s settings, a *api.API, log *slog.Logger) (*jobs.Engine, func(), error) {
	mailer, err := s.mailer()
	if err != nil {
		return nil, nil, &exitError{2, err}
	}
	pool, err := api.Connect(context.WithoutCancel(ctx), s.DatabaseURL, int32(s.JobWorkers+jobs.Spare), 0)
	if err != nil {
		return nil, nil, &exitError{2, err}
	}
	engine, err := jobs.New(jobs.Config{
		Pool: pool, Store: database.NewStore(pool, nil), Log: log, Workers: s.JobWorkers, Trial: s.Trial,
	}, slices.Concat(telling.Works(telling.Config{Mailer: mailer, Hooks: a.Hooks()}), signin.Works(s.SignInPage, rand.Reader), scheduling.Works())...)
	if err != nil {
		pool.Close()
		return nil, nil, err
	}
	return engine, pool.Close, nil
}
