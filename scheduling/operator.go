package scheduling

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/chemistry/shares"
	"wetside/lab"
	"wetside/lab/telling"
)

// checkOperator finds fault with a guest as operator: a session may be run by
// any member whom the steward names. It refuses with NotFound who is not there,
// or has left.
func checkOperator(ctx context.Context, tx pgx.Tx, s lab.Scope, operator string, no *lab.Refusal) error {
	m, err := lab.PresentMember(ctx, tx, s.Lab.ID, operator)
	if err == nil && m.GuestOf != nil {
		_ = no.With("/operator", "guest", "guests do not run tanks; their host answers for them")
	}
	return err
}

// A shift is when somebody runs a session.
type shift struct{ From, Until time.Time }

// Leave has a member leave, as shares.Leave does. What names them as operator
// stays as it is, for people may have booked it: the stewards are told of the
// sessions to come and of the openings, of which no more sessions are made until
// they name another.
func Leave(ctx context.Context, tx pgx.Tx, s lab.Scope, member string) (lab.Member, error) {
	m, err := shares.Leave(ctx, tx, s, member)
	if err != nil {
		return lab.Member{}, err
	}
	sessions, err := many[shift](ctx, tx, "sessions of an operator", `
		SELECT starts_at, ends_at FROM sessions WHERE lab_id = $1 AND operator_id = $2 AND kind = 'attended'
			AND cancelled_at IS NULL AND ends_at > $3 AND starts_at > $3::timestamptz - interval '1 day' -- none is longer
		ORDER BY starts_at, id`, s.Lab.ID, member, s.Now)
	if err != nil {
		return lab.Member{}, err
	}
	var openings int
	err = tx.QueryRow(ctx, `SELECT count(*) FROM openings WHERE lab_id = $1 AND operator_id = $2`, s.Lab.ID, member).Scan(&openings)
	if err != nil {
		return lab.Member{}, fmt.Errorf("count openings of an operator: %w", err)
	}
	return m, tellOperatorLeft(ctx, tx, s, m, sessions, openings)
}

// tellOperatorLeft tells the stewards where somebody who has left is still named.
func tellOperatorLeft(ctx context.Context, tx pgx.Tx, s lab.Scope, m lab.Member, sessions []shift, openings int) error {
	var what []string
	for _, w := range sessions[:min(len(sessions), mostTold)] {
		what = append(what, "the session of "+telling.Span(s.Lab, w.From, w.Until))
	}
	if more := len(sessions) - len(what); more > 0 {
		what = append(what, fmt.Sprintf("%d sessions more", more))
	}
	switch {
	case openings == 1:
		what = append(what, "one opening")
	case openings > 1:
		what = append(what, fmt.Sprintf("%d openings", openings))
	}
	if len(what) == 0 {
		return nil
	}
	return telling.Tell(ctx, tx, s, telling.Notice{Kind: telling.OperatorLeft, Role: lab.RoleSteward, About: m.ID,
		Words: map[string]string{"what": strings.Join(what, "; ")}})
}

// readLeft reads which of the openings' operators have left the lab.
func (f *follower) readLeft(ctx context.Context) error {
	left, err := many[struct{ ID string }](ctx, f.tx, "operators who have left", `
		SELECT DISTINCT m.id FROM openings o JOIN members m ON m.lab_id = o.lab_id AND m.id = o.operator_id
		WHERE o.lab_id = $1 AND m.left_at IS NOT NULL`, f.s.Lab.ID)
	for _, m := range left {
		f.left[m.ID] = true
	}
	return err
}
