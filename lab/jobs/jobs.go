// Package jobs has work done later, or outside the transaction that asks for
// it: on PostgreSQL, by River, whose types stay in this package.
//
// A job is asked for within a transaction, and is there if that commits:
//
//	const lapseOffer = "lapse-offer"
//	err := jobs.At(ctx, tx, s, lapseOffer, offer.Until, lapse{Offer: offer.ID})
//
// What is to be done for a kind of jobs is a Work, which the package that asks
// for them hands to the server's Engine:
//
//	func Works() []jobs.Work {
//		return []jobs.Work{{Kind: lapseOffer, Do: jobs.Payload(lapseOne)}}
//	}
//
// Every job is done at least once, by one server of all that run, after a crash
// by another; one that fails is tried again with growing pauses. What Do writes
// and that the job is done are one transaction, so for Do it is exactly once.
//
// A job says that it is time to look, and decides nothing: rules go by the
// state and the instant that they find. So jobs that come late, or that the
// state has overtaken, do no harm.
package jobs

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

// A Work is what is to be done for jobs of one kind: it has one of Do and Outside.
type Work struct {
	// Kind names it, in lower case with hyphens, for ever: jobs that wait in a
	// database go by it.
	Kind string
	// Do does a job in one transaction, within the job's lab; s.By is nobody,
	// s.Now is not before the job was due. A refusal is not tried again.
	Do func(ctx context.Context, tx pgx.Tx, s lab.Scope, payload json.RawMessage) error
	// Outside does a job with effects beyond the database, at least once.
	Outside func(ctx context.Context, j Job) error
	// Daily has the kind done once a day for every lab, without a payload.
	Daily bool
	// Pauses are how long to wait before each further try; after the last the
	// job is given up. Unless given, 25 tries over about three weeks.
	Pauses []time.Duration
}

// A Job is one piece of work that is due.
type Job struct {
	LabID   string
	Payload json.RawMessage
	// Now is this server's time.
	Now time.Time
	// Last says that there is no further try.
	Last bool
	// InTx runs f in a transaction within the job's lab.
	InTx func(ctx context.Context, f func(pgx.Tx) error) error
}

// A Later is a try that failed and that is not to be made again before a while:
// what it was about has asked for that.
type Later struct {
	Err error
	// Wait is how long from now. Pauses stay what they are if they are longer, and
	// none becomes longer than the longest of them; a kind without any goes by River's.
	Wait time.Duration
}

// Error is the error's text.
func (l *Later) Error() string { return l.Err.Error() }

// Unwrap is the error.
func (l *Later) Unwrap() error { return l.Err }

// Payload makes a Do of a function that takes the payload decoded.
func Payload[T any](f func(context.Context, pgx.Tx, lab.Scope, T) error) func(context.Context, pgx.Tx, lab.Scope, json.RawMessage) error {
	return func(ctx context.Context, tx pgx.Tx, s lab.Scope, raw json.RawMessage) error {
		var in T
		if err := json.Unmarshal(raw, &in); err != nil {
			return fmt.Errorf("payload: %w", err)
		}
		return f(ctx, tx, s, in)
	}
}

// At asks for a job of the scope's lab at the instant due, if the transaction
// commits. The payload is kept as JSON; it holds ids and nothing personal.
// What counts is the span from s.Now, so that in a trial, where s.Now may be any
// time, the job comes as much later as it would have.
func At(ctx context.Context, tx pgx.Tx, s lab.Scope, kind string, due time.Time, payload any) error {
	return insert(ctx, tx, request{queue: queueInside, kind: kind, lab: s.Lab.ID, after: due.Sub(s.Now), payload: payload})
}

// Soon asks for a job of a lab at once, if the transaction commits.
func Soon(ctx context.Context, tx pgx.Tx, labID, kind string, payload any) error {
	return insert(ctx, tx, request{queue: queueInside, kind: kind, lab: labID, payload: payload})
}

// Send is Soon for kinds with effects outside the database: these wait in a
// queue of their own, so that a slow receiver holds up nothing of the lab's.
func Send(ctx context.Context, tx pgx.Tx, labID, kind string, payloads ...any) error {
	var all []request
	for _, p := range payloads {
		all = append(all, request{queue: queueOutside, kind: kind, lab: labID, payload: p})
	}
	return insert(ctx, tx, all...)
}
