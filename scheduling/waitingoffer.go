package scheduling

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/lab/telling"
)

// A waiter is an entry of the list that has no offer.
type waiter struct {
	ID          string
	Member      string
	Session     *string
	From, Until *time.Time
	Passed      []string
	Rolls       []string
}

// OfferPlaces goes through the waiting list, if anything has changed since it
// was gone through last. It runs in the transaction of what may have freed a
// place, and before anybody new is given one; the caller has locked the lab.
func OfferPlaces(ctx context.Context, tx pgx.Tx, s lab.Scope) error {
	due, err := offersDue(ctx, tx, s.Lab.ID)
	if err != nil || !due {
		return err
	}
	rules, err := ReadBookingRules(ctx, tx, s.Lab.ID)
	if err != nil {
		return err
	}
	list, err := many[waiter](ctx, tx, "waiting list", `
		SELECT w.id, w.member_id, w.session_id, w.from_at, w.until_at, w.passed,
			ARRAY(SELECT k.roll_id FROM waiting_rolls k WHERE k.lab_id = w.lab_id AND k.entry_id = w.id ORDER BY k.roll_id)
		FROM waiting_entries w WHERE w.lab_id = $1 AND w.ended_at IS NULL AND w.booking_id IS NULL ORDER BY w.turn`, s.Lab.ID)
	if err != nil {
		return err
	}
	sh, err := readShop(ctx, tx, s)
	if err != nil {
		return err
	}
	o := offering{shop: sh, rules: rules, full: map[string]bool{}}
	for _, w := range list {
		if err := o.offer(ctx, tx, w); err != nil {
			return err
		}
	}
	return markSeen(ctx, tx, s.Lab.ID)
}

// offersDue says whether somebody waits, and anything has changed since the list
// was gone through.
func offersDue(ctx context.Context, tx pgx.Tx, labID string) (due bool, err error) {
	err = tx.QueryRow(ctx, `
		SELECT EXISTS (SELECT FROM waiting_entries w WHERE w.lab_id = l.id AND w.ended_at IS NULL AND w.booking_id IS NULL)
			AND NOT EXISTS (SELECT FROM waiting_lists x WHERE x.lab_id = l.id AND x.seen_version = l.schedule_version)
		FROM labs l WHERE l.id = $1`, labID).Scan(&due)
	if err != nil {
		return false, fmt.Errorf("look at the waiting list: %w", err)
	}
	return due, nil
}

// markSeen notes that nobody on the list can be offered anything more as
// things are.
func markSeen(ctx context.Context, tx pgx.Tx, labID string) error {
	_, err := tx.Exec(ctx, `
		INSERT INTO waiting_lists (lab_id, seen_version) SELECT id, schedule_version FROM labs WHERE id = $1
		ON CONFLICT (lab_id) DO UPDATE SET seen_version = excluded.seen_version`, labID)
	if err != nil {
		return fmt.Errorf("mark the waiting list: %w", err)
	}
	return nil
}

// forgetSeen has the list gone through again, though nothing that plans
// depend on has changed.
func forgetSeen(ctx context.Context, tx pgx.Tx, labID string) error {
	if _, err := tx.Exec(ctx, `DELETE FROM waiting_lists WHERE lab_id = $1`, labID); err != nil {
		return fmt.Errorf("mark the waiting list: %w", err)
	}
	return nil
}

// tookPlaces says that a change of the schedule has freed nothing: a list that
// was gone through before need not be again.
func tookPlaces(ctx context.Context, tx pgx.Tx, labID string) error {
	_, err := tx.Exec(ctx, `
		UPDATE waiting_lists x SET seen_version = l.schedule_version FROM labs l
		WHERE x.lab_id = $1 AND l.id = $1 AND x.seen_version = l.schedule_version - 1`, labID)
	if err != nil {
		return fmt.Errorf("mark the waiting list: %w", err)
	}
	return nil
}

// An offering is one way through the list.
type offering struct {
	*shop
	rules BookingRules
	// full is the sessions that were found not to take rolls of some kinds. What
	// is offered meanwhile only takes places, so that they stay so.
	full map[string]bool
}

// offer offers an entry the first session of its wish that takes its rolls, or
// ends it where there never will be one.
func (o *offering) offer(ctx context.Context, tx pgx.Tx, w waiter) error {
	rolls, free, gone := o.rollsOf(w)
	wished := o.wished(w)
	switch {
	case gone, w.Session != nil && len(wished) == 0, w.Until != nil && !w.Until.After(o.s.Now):
		return endWaiting(ctx, tx, o.s, w.ID, NothingToGet)
	case !free: // they have found a place by themselves, for now
		return nil
	}
	as := o.s
	as.By = lab.Member{ID: w.Member}
	for _, e := range wished[:min(len(wished), mostSearched)] {
		kinds := e.ID + kindsOf(rolls)
		if o.full[kinds] || slices.Contains(w.Passed, e.ID) {
			continue
		}
		if err := mayBook(ctx, tx, as, o.rules, e, rolls, ""); lab.RefusalCode(err) != "" {
			continue
		} else if err != nil {
			return err
		}
		f, err := o.try(ctx, e, rolls, false)
		if err != nil {
			return err
		}
		if f.plan == nil {
			o.full[kinds] = true
			continue
		}
		return o.hold(ctx, tx, as, w, e, rolls)
	}
	return nil
}

// hold holds the place for whom it is offered to.
func (o *offering) hold(ctx context.Context, tx pgx.Tx, as lab.Scope, w waiter, e Session, rolls []Roll) error {
	until := heldUntil(o.s.Now, o.rules.Offer, e)
	b, err := insertBooking(ctx, tx, as, rolls, e, until, true)
	if err != nil {
		return err
	}
	_, err = tx.Exec(ctx, `UPDATE waiting_entries SET booking_id = $3, version = version + 1 WHERE lab_id = $1 AND id = $2`,
		o.s.Lab.ID, w.ID, b.ID)
	if err != nil {
		return fmt.Errorf("offer: %w", err)
	}
	if e.Kind == SelfService {
		e.Operator = w.Member
		o.sessions[e.ID] = e
	}
	for _, r := range rolls {
		r.Session = &e.ID
		o.booked = append(o.booked, r)
	}
	o.shelf = slices.DeleteFunc(o.shelf, func(r Roll) bool { return slices.Contains(w.Rolls, r.ID) })
	o.opened, o.before = nil, nil
	return tell(ctx, tx, o.s, telling.PlaceOffered, b, e, nil)
}

// rollsOf finds an entry's rolls on the shelf: free says that none has a place,
// gone that one is past being booked.
func (o *offering) rollsOf(w waiter) (rolls []Roll, free, gone bool) {
	free = true
	for _, id := range w.Rolls {
		if i := slices.IndexFunc(o.shelf, func(r Roll) bool { return r.ID == id }); i >= 0 {
			rolls = append(rolls, o.shelf[i])
			free = free && o.shelf[i].Session == nil // not even one in a session that is over
			continue
		}
		free = false
		gone = gone || !slices.ContainsFunc(o.booked, func(r Roll) bool { return r.ID == id })
	}
	return rolls, free, gone
}

// wished are the sessions that an entry waits for and that can be booked, the
// earliest first.
func (o *offering) wished(w waiter) []Session {
	all := o.candidates(w.From, w.Until)
	if w.Session == nil {
		return all
	}
	return slices.DeleteFunc(all, func(e Session) bool { return e.ID != *w.Session })
}

// kindsOf tells apart what planning can tell apart of rolls.
func kindsOf(rolls []Roll) string {
	var kinds []string
	for _, r := range rolls {
		kinds = append(kinds, " "+kindOf(r))
	}
	slices.Sort(kinds)
	return strings.Join(kinds, "")
}
