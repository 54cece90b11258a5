package shares

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/chemistry"
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
	// Rolls are those that a charge is for.
	Rolls []string `json:"rolls,omitempty"`
	// Amount is the change and Balance what it came to, in minor units.
	Amount  int64 `json:"amount"`
	Balance int64 `json:"balance"`
}

// A Span is from one instant until before another; nil is unbounded.
type Span struct {
	From  *time.Time `json:"from,omitempty"`
	Until *time.Time `json:"until,omitempty"`
}

// An Account statement is what an account came to over a span of time.
type accountLines struct {
	// Opening is the balance at From and Closing that at Until, in minor units.
	Opening int64  `json:"opening"`
	Lines   []Line `json:"lines"`
	Closing int64  `json:"closing"`
}

// A Statement is a member's or guest's account over a time. Positive is owed to the co-op.
type Statement struct {
	Member   string `json:"member"`
	Currency string `json:"currency"`
	Span
	accountLines
}

// A FundStatement is the fund's account over a time. Positive is what the fund
// has borne, negative what it has gained.
type FundStatement struct {
	Currency string `json:"currency"`
	Span
	accountLines
}

// A KitAccount is what a kit has cost, less what was charged for it.
type KitAccount struct {
	Kit      string `json:"kit"`
	Currency string `json:"currency"`
	Span
	accountLines
	// Balance is what nobody has been charged for yet at the span's end, in minor units:
	// zero once the kit is closed, below zero when more was charged than it cost.
	Balance int64 `json:"balance"`
}

// ReadStatement reads a member's account. Members read their own, hosts their
// guests', the treasurer anybody's: it refuses others with Forbidden, then
// unknown members with NotFound.
func ReadStatement(ctx context.Context, tx pgx.Tx, s lab.Scope, member string, span Span) (Statement, error) {
	if err := mayReadAccount(ctx, tx, s, member); err != nil {
		return Statement{}, err
	}
	if _, err := lab.FindMember(ctx, tx, s.Lab.ID, member); err != nil {
		return Statement{}, err
	}
	st := Statement{Member: member, Currency: s.Lab.Currency, Span: span}
	err := st.read(ctx, tx, span, `p.member_id = $3`, s.Lab.ID, member)
	return st, err
}

// mayReadAccount refuses all but the member, their host and the treasurer.
func mayReadAccount(ctx context.Context, tx pgx.Tx, s lab.Scope, member string) error {
	if member == s.By.ID || s.By.Has(lab.RoleTreasurer) {
		return nil
	}
	m, err := lab.FindMember(ctx, tx, s.Lab.ID, member)
	if err != nil && lab.RefusalCode(err) == "" {
		return err
	}
	if m.GuestOf == nil || *m.GuestOf != s.By.ID {
		return lab.Refuse(lab.Forbidden, "forbidden", "a statement is for its member and the treasurer")
	}
	return nil
}

// ReadFund reads the fund's account.
func ReadFund(ctx context.Context, tx pgx.Tx, s lab.Scope, span Span) (FundStatement, error) {
	st := FundStatement{Currency: s.Lab.Currency, Span: span}
	err := st.read(ctx, tx, span, `p.account = 'fund'`, s.Lab.ID)
	return st, err
}

// ReadKitAccount reads a kit's account. It refuses with NotFound.
func ReadKitAccount(ctx context.Context, tx pgx.Tx, labID, kitID string, span Span) (KitAccount, error) {
	kit, err := chemistry.FindKit(ctx, tx, labID, kitID)
	if err != nil {
		return KitAccount{}, err
	}
	a := KitAccount{Kit: kitID, Currency: kit.Price.Currency, Span: span}
	err = a.read(ctx, tx, span, `p.account = 'kit' AND p.kit_id = $3`, labID, kitID)
	a.Balance = a.Closing
	return a, err
}

// read reads what entries of the lab (args[0]) did within the span to the
// account that the postings p are picked by; its arguments follow from $3.
func (a *accountLines) read(ctx context.Context, tx pgx.Tx, span Span, which string, args ...any) error {
	rows, err := tx.Query(ctx, `
		SELECT e.id, e.at, e.kind, e.text, coalesce(e.kit_id, ''), coalesce(e.run_id, ''),
			coalesce(array_agg(p.roll_id ORDER BY p.line) FILTER (WHERE p.roll_id IS NOT NULL), '{}'),
			sum(p.amount_minor)::bigint, (sum(sum(p.amount_minor)) OVER (ORDER BY e.at, e.id))::bigint
		FROM postings p
		JOIN entries e ON e.lab_id = p.lab_id AND e.id = p.entry_id
		WHERE p.lab_id = $1 AND ($2::timestamptz IS NULL OR e.at < $2) AND `+which+`
		GROUP BY e.lab_id, e.id
		ORDER BY e.at, e.id`, append([]any{args[0], span.Until}, args[1:]...)...)
	if err != nil {
		return fmt.Errorf("read account: %w", err)
	}
	lines, err := pgx.CollectRows(rows, pgx.RowToStructByPos[Line])
	if err != nil {
		return fmt.Errorf("read account: %w", err)
	}
	a.Lines = []Line{}
	for _, l := range lines {
		l.At = l.At.UTC()
		a.Closing = l.Balance
		if span.From != nil && l.At.Before(*span.From) {
			a.Opening = l.Balance
		} else {
			a.Lines = append(a.Lines, l)
		}
	}
	if len(a.Lines) == 0 {
		a.Closing = a.Opening
	}
	return nil
}
