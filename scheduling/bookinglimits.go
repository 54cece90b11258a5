package scheduling

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

// mayBook refuses what the lab's rules keep the rolls' member from booking in
// a session, whatever fits: with not-certified or session-taken in a
// self-service session; with booking-suspended or quota-exceeded unless a
// steward books. Rolls of the booking without are not counted; "" is none.
func mayBook(ctx context.Context, tx pgx.Tx, s lab.Scope, rules BookingRules, session Session, rolls []Roll, without string) error {
	member := rolls[0].Member
	if err := mayRun(ctx, tx, s, session, member); err != nil {
		return err
	}
	if s.By.Has(lab.RoleSteward) {
		return nil
	}
	if rules.Strikes != nil {
		record, err := readRecord(ctx, tx, s, rules, member)
		if err != nil {
			return err
		}
		if record.SuspendedUntil != nil {
			return lab.Refuse(lab.Conflict, "booking-suspended", "%d strikes count; until %s the steward books for this member",
				len(record.Strikes), record.SuspendedUntil.Format(time.RFC3339))
		}
	}
	if rules.RollsAWeek == nil {
		return nil
	}
	from, until := weekOf(session.Start, s.Lab.Location())
	var booked int64
	err := tx.QueryRow(ctx, `
		SELECT count(*) FROM sessions e
		JOIN bookings b ON b.lab_id = e.lab_id AND b.session_id = e.id AND b.cancelled_at IS NULL
			AND (b.confirmed_at IS NOT NULL OR b.held_until > $2)
		JOIN booking_rolls k ON k.lab_id = b.lab_id AND k.booking_id = b.id AND k.live
		WHERE e.lab_id = $1 AND e.starts_at >= $3 AND e.starts_at < $4 AND b.member_id = $5 AND b.id <> $6`,
		s.Lab.ID, s.Now, from, until, member, without).Scan(&booked)
	if err != nil {
		return fmt.Errorf("count the week's rolls: %w", err)
	}
	if booked+int64(len(rolls)) > *rules.RollsAWeek {
		year, week := from.ISOWeek()
		return lab.Refuse(lab.Conflict, "quota-exceeded", "a member has %d rolls a week at most; %d are booked in %d-W%02d and these are %d",
			*rules.RollsAWeek, booked, year, week, len(rolls))
	}
	return nil
}

// weekOf is the ISO 8601 week, by the wall clock of a zone, that t is in.
func weekOf(t time.Time, zone *time.Location) (from, until time.Time) {
	t = t.In(zone)
	monday := t.Day() - int(t.Weekday()+6)%7
	return time.Date(t.Year(), t.Month(), monday, 0, 0, 0, 0, zone), time.Date(t.Year(), t.Month(), monday+7, 0, 0, 0, 0, zone)
}

// mayRun refuses a member whom a self-service session is not for: one who is
// not certified for its tank, and anybody but whoever has booked it first.
func mayRun(ctx context.Context, tx pgx.Tx, s lab.Scope, session Session, member string) error {
	if session.Kind != SelfService {
		return nil
	}
	if session.Operator != "" && session.Operator != member {
		return lab.Refuse(lab.Conflict, "session-taken", "another member runs this session")
	}
	certified, err := lab.Certified(ctx, tx, s, member, session.Tank)
	if err == nil && !certified {
		err = lab.Refuse(lab.Conflict, "not-certified", "this session is for members certified for its tank")
	}
	return err
}

// takeUp makes the first who books a self-service session its operator.
func takeUp(ctx context.Context, tx pgx.Tx, s lab.Scope, session Session, member string) error {
	if session.Kind != SelfService || session.Operator == member {
		return nil
	}
	_, err := tx.Exec(ctx, `UPDATE sessions SET operator_id = $3, version = version + 1 WHERE lab_id = $1 AND id = $2`,
		s.Lab.ID, session.ID, member)
	if err != nil {
		return fmt.Errorf("take session up: %w", err)
	}
	return nil
}

// handBack leaves a self-service session without an operator once nobody has
// rolls booked or batched in it.
func handBack(ctx context.Context, tx pgx.Tx, s lab.Scope, session string) error {
	_, err := tx.Exec(ctx, `
		UPDATE sessions e SET operator_id = NULL, version = version + 1
		WHERE e.lab_id = $1 AND e.id = $2 AND e.kind = 'self_service' AND e.operator_id IS NOT NULL
			AND NOT EXISTS (SELECT FROM bookings b JOIN booking_rolls k ON k.lab_id = b.lab_id AND k.booking_id = b.id AND k.live
				WHERE b.lab_id = e.lab_id AND b.session_id = e.id)
			AND NOT EXISTS (SELECT FROM batches t WHERE t.lab_id = e.lab_id AND t.session_id = e.id AND t.status <> 'cancelled')`,
		s.Lab.ID, session)
	if err != nil {
		return fmt.Errorf("hand session back: %w", err)
	}
	return nil
}
