package shares

import (
	"context"
	"fmt"
	"strings"
	"time"
	"unicode"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/lab/units"
)

// A journal writes entries as plain text in the double-entry journal format
// that hledger and Ledger read.
type journal struct {
	currency string
	zone     *time.Location
	names    map[string]string // by id, of members, guests and kits
	text     strings.Builder
}

// WriteJournal writes the lab's whole books within a span. Each entry is a
// transaction on its day in the lab's time zone, with its id as code; each
// posting an amount on the account members:NAME ID, kits:NAME ID, or fund.
func WriteJournal(ctx context.Context, tx pgx.Tx, s lab.Scope, span Span) ([]byte, error) {
	entries, err := readEntries(ctx, tx,
		`($2::timestamptz IS NULL OR e.at >= $2) AND ($3::timestamptz IS NULL OR e.at < $3) ORDER BY e.at, e.id`,
		s.Lab.ID, span.From, span.Until)
	if err != nil {
		return nil, fmt.Errorf("read journal: %w", err)
	}
	j, err := newJournal(ctx, tx, s)
	if err != nil {
		return nil, err
	}
	for _, e := range entries {
		j.transaction(e.At, e.ID, e.Text, e.Kind, e.Kit, e.Run)
		for _, p := range e.Postings {
			j.posting(p)
		}
	}
	return []byte(j.text.String()), nil
}

// WriteAccountJournal writes the lines of one account, that of p, with
// everything else as the one other side of each.
func WriteAccountJournal(ctx context.Context, tx pgx.Tx, s lab.Scope, p Posting, lines []Line, opening int64, from *time.Time) ([]byte, error) {
	j, err := newJournal(ctx, tx, s)
	if err != nil {
		return nil, err
	}
	if opening != 0 && from != nil {
		j.transaction(*from, "", "Opening balance", "", "", "")
		p.Amount = opening
		j.both(p)
	}
	for _, l := range lines {
		j.transaction(l.At, l.Entry, l.Text, l.Kind, l.Kit, l.Run)
		p.Amount = l.Amount
		j.both(p)
	}
	return []byte(j.text.String()), nil
}

func newJournal(ctx context.Context, tx pgx.Tx, s lab.Scope) (*journal, error) {
	j := &journal{currency: s.Lab.Currency, zone: s.Lab.Location(), names: map[string]string{}}
	rows, err := tx.Query(ctx, `SELECT id, name FROM members WHERE lab_id = $1 UNION ALL SELECT id, name FROM kits WHERE lab_id = $1`, s.Lab.ID)
	if err != nil {
		return nil, fmt.Errorf("read names: %w", err)
	}
	var id, name string
	_, err = pgx.ForEachRow(rows, []any{&id, &name}, func() error { j.names[id] = name; return nil })
	if err != nil {
		return nil, fmt.Errorf("read names: %w", err)
	}
	fmt.Fprintf(&j.text, "; The books of %s\n", plain(s.Lab.Name, ""))
	// Both programs learn from this that the point is a decimal mark and how many digits follow.
	sample := units.Decimal(1_000_000, j.currency)
	if !strings.Contains(sample, ".") {
		sample += "." // a decimal mark is wanted here, though no digits follow
	}
	fmt.Fprintf(&j.text, "commodity %s\n    format %s %s\n", j.currency, sample, j.currency)
	return j, nil
}

func (j *journal) transaction(at time.Time, id, text string, kind Kind, kit, run string) {
	fmt.Fprintf(&j.text, "\n%s * ", at.In(j.zone).Format(time.DateOnly))
	if id != "" {
		fmt.Fprintf(&j.text, "(%s) ", id)
	}
	j.text.WriteString(plain(text, ";|") + "\n")
	for _, tag := range [][2]string{{"kind", string(kind)}, {"kit", kit}, {"run", run}} {
		if tag[1] != "" {
			fmt.Fprintf(&j.text, "    ; %s: %s\n", tag[0], tag[1])
		}
	}
}

func (j *journal) posting(p Posting) {
	fmt.Fprintf(&j.text, "    %s  %s %s", j.account(p), units.Decimal(p.Amount, j.currency), j.currency)
	if p.Roll != "" {
		fmt.Fprintf(&j.text, "  ; roll: %s, area: %d mm2", p.Roll, p.AreaMM2)
	}
	j.text.WriteString("\n")
}

// both writes a posting and its opposite on everything else.
func (j *journal) both(p Posting) {
	j.posting(p)
	fmt.Fprintf(&j.text, "    others  %s %s\n", units.Decimal(-p.Amount, j.currency), j.currency)
}

func (j *journal) account(p Posting) string {
	switch p.Account {
	case MemberAccount:
		return "members:" + strings.TrimSpace(word(j.names[p.Member])+" "+p.Member)
	case OwnKit:
		return "kits:" + strings.TrimSpace(word(j.names[p.Kit])+" "+p.Kit)
	default:
		return "fund"
	}
}

// word is a text as it can stand in an account's name.
func word(text string) string { return plain(text, ";|:*!(){}[]\"#%=@$&<>~^\\") }

// plain is a text on one line, with no two blanks in a row, and a hyphen for
// what the format gives a meaning to there.
func plain(text, meaningful string) string {
	text = strings.Map(func(r rune) rune {
		switch {
		case unicode.IsSpace(r) || unicode.IsControl(r):
			return ' '
		case strings.ContainsRune(meaningful, r):
			return '-'
		}
		return r
	}, text)
	return strings.Join(strings.Fields(text), " ")
}
