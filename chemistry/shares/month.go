package shares

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

// A ClosedMonth is a month of the lab's calendar in which nothing is entered
// any more, and no month before it either, with what every account came to.
type ClosedMonth struct {
	// Month is as in 2026-11.
	Month  string    `json:"month"`
	EndsAt time.Time `json:"ends_at"`
	// Balances are those that are not zero at the end; they add up to zero.
	Balances []AccountBalance `json:"balances"`
	ClosedBy string           `json:"closed_by"`
	ClosedAt time.Time        `json:"closed_at"`
}

// An AccountBalance is what one account came to, in minor units.
type AccountBalance struct {
	Account Account `json:"account"`
	Member  string  `json:"member,omitempty"`
	Kit     string  `json:"kit,omitempty"`
	Amount  int64   `json:"amount"`
}

// A NewClosedMonth names a month.
type NewClosedMonth struct {
	Month string `json:"month"`
}

// CloseMonth closes a month that is over. The database then refuses entries in
// it. It refuses with Invalid, "month-not-over" and "month-closed".
func CloseMonth(ctx context.Context, tx pgx.Tx, s lab.Scope, in NewClosedMonth) (ClosedMonth, error) {
	first, err := time.ParseInLocation("2006-01", in.Month, s.Lab.Location())
	if err != nil {
		return ClosedMonth{}, lab.Refuse(lab.Invalid, "invalid", "there is no such month").
			With("/month", "month", "want a month such as 2026-11")
	}
	m := ClosedMonth{Month: in.Month, EndsAt: first.AddDate(0, 1, 0).UTC(), ClosedBy: s.By.ID, ClosedAt: s.Now}
	if m.EndsAt.After(s.Now) {
		return ClosedMonth{}, lab.Refuse(lab.Conflict, "month-not-over", "the month lasts until %s", m.EndsAt.Format(time.RFC3339))
	}
	// Whoever writes in the books holds the lab's lock: nothing is on its way into the month.
	if _, err := lab.Lock(ctx, tx, s.Lab.ID); err != nil {
		return ClosedMonth{}, err
	}
	rows, err := tx.Query(ctx, `
		SELECT p.account, coalesce(p.member_id, ''), coalesce(p.kit_id, ''), sum(p.amount_minor)::bigint
		FROM entries e
		JOIN postings p ON p.lab_id = e.lab_id AND p.entry_id = e.id
		WHERE e.lab_id = $1 AND e.at < $2
		GROUP BY 1, 2, 3 HAVING sum(p.amount_minor) <> 0
		ORDER BY 1, 2, 3`, s.Lab.ID, m.EndsAt)
	if err != nil {
		return ClosedMonth{}, fmt.Errorf("balances of month: %w", err)
	}
	if m.Balances, err = pgx.CollectRows(rows, pgx.RowToStructByPos[AccountBalance]); err != nil {
		return ClosedMonth{}, fmt.Errorf("balances of month: %w", err)
	}
	_, err = tx.Exec(ctx, `
		INSERT INTO closed_months (lab_id, month, ends_at, balances, closed_by, closed_at) VALUES ($1, $2, $3, $4, $5, $6)`,
		s.Lab.ID, m.Month, m.EndsAt, m.Balances, m.ClosedBy, m.ClosedAt)
	if lab.Violates(err, lab.UniqueViolation, "closed_months_pkey") {
		return ClosedMonth{}, lab.Refuse(lab.Conflict, "month-closed", "the books of that month are closed")
	}
	if err != nil {
		return ClosedMonth{}, fmt.Errorf("close month: %w", err)
	}
	return m, nil
}

// ListMonths reads the closed months, oldest first.
func ListMonths(ctx context.Context, tx pgx.Tx, labID string, p lab.Page) (lab.List[ClosedMonth], error) {
	rows, err := tx.Query(ctx, `
		SELECT month, ends_at, balances, closed_by, closed_at FROM closed_months
		WHERE lab_id = $1 AND month > $2 ORDER BY month LIMIT $3`, labID, p.After, p.Limit+1)
	if err != nil {
		return lab.List[ClosedMonth]{}, fmt.Errorf("list months: %w", err)
	}
	months, err := pgx.CollectRows(rows, pgx.RowToStructByPos[ClosedMonth])
	if err != nil {
		return lab.List[ClosedMonth]{}, fmt.Errorf("list months: %w", err)
	}
	return lab.Cut(months, p, func(m ClosedMonth) string { return m.Month }), nil
}
