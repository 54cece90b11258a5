package main

import (
	"context"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"net/http"
	"time"

	"golang.org/x/sync/errgroup"
)

// A work is what clients do again and again: requests in a fixed order, after
// which a lab is as it was before, but for what is kept of the past.
type work struct {
	name     string
	requests int // each an operation, in one transaction
	do       func(c *client, l *atLab, session string) ([]figure, error)
}

// A figure is how long one request took, from when it was sent.
type figure = time.Duration

var works = []work{
	{"booking and giving up", 2, bookAndCancel},
	{"listing sessions", 1, listSessions},
}

func bookAndCancel(c *client, l *atLab, session string) ([]figure, error) {
	began := time.Now()
	body, err := c.ask(asked{method: "POST", path: "/v1/labs/" + l.ID + "/bookings", token: l.Token, want: http.StatusCreated,
		body: `{"session":"` + session + `","rolls":["` + l.roll + `"]}`})
	if err != nil {
		return nil, err
	}
	booked := time.Now()
	var b struct{ ID string }
	if err := json.Unmarshal(body, &b); err != nil {
		return nil, fmt.Errorf("a booking's answer: %w", err)
	}
	_, err = c.ask(asked{method: "POST", path: "/v1/labs/" + l.ID + "/bookings/" + b.ID + "/cancellation", token: l.Token,
		header: "If-Match: *\r\n", want: http.StatusOK})
	return []figure{booked.Sub(began), time.Since(booked)}, err
}

func listSessions(c *client, l *atLab, _ string) ([]figure, error) {
	began := time.Now()
	_, err := c.ask(asked{method: "GET", path: "/v1/labs/" + l.ID + "/sessions", token: l.Token, want: http.StatusOK})
	return []figure{time.Since(began)}, err
}

// warmUp precedes each turn and is not counted: statements are prepared in it.
const warmUp = time.Second

// asks has clients do a work for a while, each in labs of its own. With a rate
// they begin at set times, so many operations a second between them, and an
// operation that begins late because the one before took long counts the delay.
func asks(ctx context.Context, address string, labs []*atLab, w work, clients int, rate float64, lasts time.Duration) (figures, error) {
	each := make([][]figure, clients)
	var all errgroup.Group
	began := time.Now().Add(warmUp)
	for i := range clients {
		all.Go(func() error {
			c, err := dial(address)
			if err != nil {
				return err
			}
			defer c.close()
			random := rand.New(rand.NewPCG(1, uint64(i))) // #nosec G404 -- load is to be repeatable
			mine := labs[i*labsEach : (i+1)*labsEach]
			next := time.Now()
			for time.Since(began) < lasts && ctx.Err() == nil {
				var late time.Duration
				if rate > 0 {
					time.Sleep(time.Until(next))
					late = max(time.Since(next), 0)
				}
				l := mine[random.IntN(len(mine))]
				took, err := w.do(c, l, l.Sessions[random.IntN(len(l.Sessions))])
				if err != nil {
					return err
				}
				took[0] += late
				if time.Now().After(began) {
					each[i] = append(each[i], took...)
				}
				if rate > 0 { // pauses vary, so that clients do not fall into step
					next = next.Add(time.Duration(random.ExpFloat64() * float64(len(took)*clients) / rate * float64(time.Second)))
				}
			}
			return ctx.Err()
		})
	}
	err := all.Wait()
	f := figures{took: time.Since(began), each: 1}
	for _, times := range each {
		f.times = append(f.times, times...)
	}
	return f, err
}
