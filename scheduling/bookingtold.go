package scheduling

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/lab/telling"
)

// tell tells a booking's member what has become of it; from is the session that
// it was moved from, if it was.
func tell(ctx context.Context, tx pgx.Tx, s lab.Scope, kind telling.Kind, b Booking, e Session, from *Session) error {
	words := map[string]string{"session": telling.Span(s.Lab, e.Start, e.End), "rolls": counted(len(b.Rolls))}
	if b.HeldUntil != nil {
		words["until"] = telling.When(s.Lab, *b.HeldUntil)
	}
	if from != nil {
		words["from"] = telling.Span(s.Lab, from.Start, from.End)
	}
	return telling.Tell(ctx, tx, s, telling.Notice{Kind: kind, To: []string{b.Member}, About: b.ID, Words: words})
}

// counted words a number of rolls.
func counted(rolls int) string {
	if rolls == 1 {
		return "1 roll"
	}
	return fmt.Sprintf("%d rolls", rolls)
}
