// Command load measures how fast a server of Wetside books and lists sessions,
// beside what PostgreSQL alone does with the same statements:
//
//	load -wetside PROGRAM -pgbench PROGRAM [-short] [-profile FILE]
//
// It furnishes labs in the database of WETSIDE_DATABASE_URL, which must be empty
// and is not cleared, starts the server there, and keeps it busy by as many
// clients as -clients says, each waiting for one answer before it asks again. The
// statements that an API sends for such a request are heard by a tracer, and
// pgbench sends them in turn with the server: with the same values, prepared, in
// as many sessions, and together where the API sends them together. At last the
// server is asked at half of the rate that it reached, by the clock.
//
// With -profile the server runs within this program, and its processor profile,
// which the clients are in too, is written to a file.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/signal"
	"syscall"
	"time"
)

// A bench is what is given on the command line.
type bench struct {
	wetside, pgbench string
	profile          string
	clients, rounds  int
	lasts            time.Duration
}

func main() {
	var b bench
	short := flag.Bool("short", false, "one round of two seconds each, to see that all of it works")
	flag.StringVar(&b.wetside, "wetside", "", "the server's `program`")
	flag.StringVar(&b.pgbench, "pgbench", "", "PostgreSQL's `program` of that name")
	flag.StringVar(&b.profile, "profile", "", "write a processor profile to this `file`, of a server within this program")
	flag.IntVar(&b.clients, "clients", 8, "how many clients ask at a time")
	flag.IntVar(&b.rounds, "rounds", 3, "how often the server and pgbench take turns; the middle rate of each counts")
	flag.DurationVar(&b.lasts, "lasts", 4*time.Second, "how long each turn lasts")
	flag.Parse()
	if *short {
		b.rounds, b.lasts = 1, 2*time.Second
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	if err := b.run(ctx, os.Getenv("WETSIDE_DATABASE_URL")); err != nil {
		fmt.Fprintln(os.Stderr, "load:", err)
		os.Exit(1)
	}
}

func (b *bench) run(ctx context.Context, url string) (err error) {
	if url == "" || b.pgbench == "" || b.wetside == "" && b.profile == "" {
		return errors.New("WETSIDE_DATABASE_URL, -wetside and -pgbench must be given")
	}
	s, err := b.serve(ctx, url)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, s.stop()) }()
	labs, err := furnish(ctx, url, b.clients)
	if err != nil {
		return fmt.Errorf("furnish labs: %w", err)
	}
	if err := signIn(s.address, labs); err != nil {
		return err
	}
	fmt.Printf("%d clients of %d labs each, with %d sessions; %d turns of %v each\n",
		b.clients, labsEach, sessionsEach, b.rounds, b.lasts)
	fmt.Printf("%-44s %10s %9s %9s %9s\n", "", "operations", "a second", "p50", "p99")
	for _, w := range works {
		if err := b.measure(ctx, url, s.address, labs, w); err != nil {
			return fmt.Errorf("%s: %w", w.name, err)
		}
	}
	return nil
}

// measure has the server and pgbench take turns at one kind of work.
func (b *bench) measure(ctx context.Context, url, address string, labs []*atLab, w work) error {
	scripts, err := hear(ctx, url, labs, w)
	if err != nil {
		return err
	}
	var served, floor []figures
	for range b.rounds {
		f, err := asks(ctx, address, labs, w, b.clients, 0, b.lasts)
		if err != nil {
			return err
		}
		served = append(served, f)
		if f, err = b.runPgbench(ctx, url, scripts, w); err != nil {
			return fmt.Errorf("pgbench: %w", err)
		}
		floor = append(floor, f)
	}
	api, alone := middle(served), middle(floor)
	half, err := asks(ctx, address, labs, w, b.clients, api.rate()/2, b.lasts)
	if err != nil {
		return err
	}
	fmt.Println(api.line(w.name + ", served"))
	fmt.Println(alone.line(w.name + ", pgbench"))
	fmt.Println(half.line(w.name + ", served at half the rate"))
	fmt.Printf("%-44s %10.2f of pgbench's rate\n", w.name, api.rate()/alone.rate())
	return nil
}
