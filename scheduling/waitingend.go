package scheduling

import (
	"context"
	"encoding/json"
	"fmt"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/lab/jobs"
)

// AcceptOffer confirms the place that is offered to an entry of the list, which
// ends with that. It refuses with no-offer and as ConfirmBooking does.
func AcceptOffer(ctx context.Context, tx pgx.Tx, s lab.Scope, id string, version int64) (Waiting, error) {
	return answerOffer(ctx, tx, s, id, version, ConfirmBooking)
}

// DeclineOffer gives the place that is offered to an entry to the next. An entry
// for that session alone ends; one for a span waits on for other sessions. It
// refuses with no-offer and as CancelBooking does.
func DeclineOffer(ctx context.Context, tx pgx.Tx, s lab.Scope, id string, version int64) (Waiting, error) {
	return answerOffer(ctx, tx, s, id, version, CancelBooking)
}

type bookingAction = func(ctx context.Context, tx pgx.Tx, s lab.Scope, id string, version int64) (Booking, error)

func answerOffer(ctx context.Context, tx pgx.Tx, s lab.Scope, id string, version int64, answer bookingAction) (Waiting, error) {
	w, err := listed(ctx, tx, s, id, version)
	if err != nil {
		return Waiting{}, err
	}
	if w.Status != Offered {
		return Waiting{}, lab.Refuse(lab.Conflict, "no-offer", "no place is offered: %s", w.Status)
	}
	b, err := FindBooking(ctx, tx, s, *w.Booking)
	if err != nil {
		return Waiting{}, err
	}
	if _, err := answer(ctx, tx, s, b.ID, b.Version); err != nil {
		return Waiting{}, err
	}
	return FindWaiting(ctx, tx, s, id)
}

// listed locks the lab and reads an entry at a version.
func listed(ctx context.Context, tx pgx.Tx, s lab.Scope, id string, version int64) (Waiting, error) {
	if _, err := lab.Lock(ctx, tx, s.Lab.ID); err != nil {
		return Waiting{}, err
	}
	w, err := FindWaiting(ctx, tx, s, id)
	if err == nil && w.Version != version {
		err = stale("waiting entry")
	}
	return w, err
}

// LeaveList takes an entry off the list, with what is offered to it. It refuses
// with waiting-ended.
func LeaveList(ctx context.Context, tx pgx.Tx, s lab.Scope, id string, version int64) error {
	w, err := listed(ctx, tx, s, id, version)
	if err != nil {
		return err
	}
	if w.EndedAt != nil {
		return lab.Refuse(lab.Conflict, "waiting-ended", "the wait has ended: %s", w.Status)
	}
	if err := endWaiting(ctx, tx, s, id, LeftList); err != nil || w.Status != Offered {
		return err
	}
	b, err := FindBooking(ctx, tx, s, *w.Booking)
	if err == nil {
		_, err = CancelBooking(ctx, tx, s, b.ID, b.Version)
	}
	return err
}

// endWaiting ends an entry that has not ended, without the offer it may have had.
func endWaiting(ctx context.Context, tx pgx.Tx, s lab.Scope, id string, outcome WaitingStatus) error {
	_, err := tx.Exec(ctx, `
		UPDATE waiting_entries SET ended_at = $3, outcome = $4, version = version + 1,
			booking_id = CASE WHEN $4 = 'accepted' THEN booking_id END
		WHERE lab_id = $1 AND id = $2 AND ended_at IS NULL`, s.Lab.ID, id, s.Now, outcome)
	if err != nil {
		return fmt.Errorf("end a wait: %w", err)
	}
	_, err = tx.Exec(ctx, `UPDATE waiting_rolls SET live = false WHERE lab_id = $1 AND entry_id = $2`, s.Lab.ID, id)
	if err != nil {
		return fmt.Errorf("end a wait: %w", err)
	}
	return nil
}

// offerAnswered tells the list what became of a place that it offered: accepted
// ends the entry; otherwise the session is passed over from now on, and an entry
// for that session alone ends.
func offerAnswered(ctx context.Context, tx pgx.Tx, s lab.Scope, booking, session string, outcome WaitingStatus) error {
	w, err := one[struct {
		ID  string
		For *string
	}](ctx, tx, "waiting entry", `
		UPDATE waiting_entries SET version = version + 1,
			passed = CASE WHEN $4 = 'accepted' THEN passed ELSE array_append(passed, $3) END,
			booking_id = CASE WHEN $4 = 'accepted' THEN booking_id END
		WHERE lab_id = $1 AND booking_id = $2 AND ended_at IS NULL
		RETURNING id, session_id`, s.Lab.ID, booking, session, outcome)
	switch {
	case lab.RefusalCode(err) == "not-found": // its entry has been left
		return nil
	case err != nil:
		return err
	case outcome == Accepted || w.For != nil:
		return endWaiting(ctx, tx, s, w.ID, outcome)
	}
	return nil
}

// The kinds of jobs of bookings: one looks at a lab's list when a hold ends, the
// other every day, for what else may have freed places.
const (
	holdEnds  = "hold-ends"
	dailyList = "waiting-list"
)

// Works are the jobs that this package asks for.
func Works() []jobs.Work {
	look := func(ctx context.Context, tx pgx.Tx, s lab.Scope, _ json.RawMessage) error {
		_, err := openBookings(ctx, tx, s, nothingMore)
		return err
	}
	return []jobs.Work{{Kind: holdEnds, Do: look}, {Kind: dailyList, Do: look, Daily: true}, daysAhead(), filmDry()}
}
