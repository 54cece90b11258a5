package demo

import (
	"context"
	"fmt"
	"slices"
	"time"
)

// A diary holds what is yet to happen.
type diary struct {
	entries []event
}

// An event is something that happens at an instant.
type event struct {
	at   time.Time
	what string
	do   func(ctx context.Context) error
}

// add enters an event; those of one instant happen in the order entered.
func (d *diary) add(at time.Time, what string, do func(ctx context.Context) error) {
	place, _ := slices.BinarySearchFunc(d.entries, at, func(e event, at time.Time) int {
		if e.at.After(at) {
			return 1
		}
		return -1
	})
	d.entries = slices.Insert(d.entries, place, event{at, what, do})
}

// live makes everything happen in order, what is entered meanwhile too.
func (d *diary) live(ctx context.Context, c *clock) error {
	for len(d.entries) > 0 {
		next := d.entries[0]
		d.entries = d.entries[1:]
		// Calls move the clock on by seconds; it never goes back.
		if next.at.After(c.now) {
			c.now = next.at
		}
		if err := next.do(ctx); err != nil {
			return fmt.Errorf("%s (%s): %w", next.what, next.at.Format("Mon 2 Jan 15:04"), err)
		}
	}
	return nil
}
