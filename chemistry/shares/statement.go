package shares

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

// A Line is what one entry did to one account.
type Line struct {
	Entry string    `json:"entry"`
	At    time.Time `json:"at"`
	Kind  Kind      `json:"kind"`
	Text  string    `json:"text"`
	Kit   string    `json:"kit,omitempty"`
	Run   string    `json:"run,omitempty"`
	// Amount is the change and Balance what it came to, in minor units.
	Amount  int64 `json:"amount"`
	Balance int64 `json:"balance"`
}

// A Statement is a member's account over a time. Positive is owed to the co-op.
type Statement struct {
	Member   string     `json:"member"`
	Currency string     `json:"currency"`
	From     *time.Time `json:"from,omitempty"`
	Until    *time.Time `json:"until,omitempty"`
	// Opening is the balance at From and Closing that at Until, in minor units.
	Opening int64  `json:"opening"`
	Lines   []Line `json:"lines"`
	Closing int64  `json:"closing"`
}

// ReadStatement reads a member's account from one instant until before
// another; nil is unbounded. Members read their own, the treasurer anybody's:
// it refuses others with Forbidden, then unknown members with NotFound.
func ReadStatement(ctx context.Context, tx pgx.Tx, s lab.Scope, member string, from, until *time.Time) (Statement, error) {
	if member != s.By.ID && !s.By.Has(lab.RoleTreasurer) {
		return Statement{}, lab.Refuse(lab.Forbidden, "forbidden", "a statement is for its member and the treasurer")
	}
	if _, err := lab.FindMember(ctx, tx, s.Lab.ID, member); err != nil {
		return Statement{}, err
	}
	lines, err := readLines(ctx, tx, `p.member_id = $2 AND ($3::timestamptz IS NULL OR e.at < $3)`, s.Lab.ID, member, until)
	if err != nil {
		return Statement{}, fmt.Errorf("read statement: %w", err)
	}
	st := Statement{Member: member, Currency: s.Lab.Currency, From: from, Until: until, Lines: []Line{}}
	for _, l := range lines {
		st.Closing = l.Balance
		if from != nil && l.At.Before(*from) {
			st.Opening = l.Balance
		} else {
			st.Lines = append(st.Lines, l)
		}
	}
	if len(st.Lines) == 0 {
		st.Closing = st.Opening
	}
	return st, nil
}

// readLines reads what the lab's ($1) entries e did to the account that the
// postings p are picked by, in the order of time, with the running balance.
func readLines(ctx context.Context, tx pgx.Tx, which string, args ...any) ([]Line, error) {
	rows, err := tx.Query(ctx, `
		SELECT e.id, e.at, e.kind, e.text, coalesce(e.kit_id, ''), coalesce(e.run_id, ''),
			sum(p.amount_minor)::bigint, (sum(sum(p.amount_minor)) OVER (ORDER BY e.at, e.id))::bigint
		FROM postings p
		JOIN entries e ON e.lab_id = p.lab_id AND e.id = p.entry_id
		WHERE p.lab_id = $1 AND `+which+`
		GROUP BY e.lab_id, e.id
		ORDER BY e.at, e.id`, args...)
	if err != nil {
		return nil, err
	}
	lines, err := pgx.CollectRows(rows, pgx.RowToStructByPos[Line])
	for i := range lines {
		lines[i].At = lines[i].At.UTC()
	}
	return lines, err
}
