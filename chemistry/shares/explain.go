package shares

import (
	"context"
	"fmt"
	"math/big"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/lab/units"
)

// An Explanation is why a member owes, or is owed, what they do.
type Explanation struct {
	Member   string `json:"member"`
	Currency string `json:"currency"`
	// Balance is the sum of the reasons' amounts, in minor units; positive is owed to the co-op.
	Balance int64    `json:"balance"`
	Reasons []Reason `json:"reasons"`
}

// A Reason is one posting on the member's account, traced back.
type Reason struct {
	Entry    string    `json:"entry"`
	At       time.Time `json:"at"`
	Kind     Kind      `json:"kind"`
	Text     string    `json:"text"`
	Amount   int64     `json:"amount"`
	Kit      string    `json:"kit,omitempty"`
	KitName  string    `json:"kit_name,omitempty"`
	Run      string    `json:"run,omitempty"`
	Roll     string    `json:"roll,omitempty"`
	Payment  string    `json:"payment,omitempty"`
	Reverses string    `json:"reverses,omitempty"`
	// Steps are the arithmetic, the last of which gives Amount.
	Steps []Step `json:"steps"`
}

// A Step is one line of arithmetic: what is reckoned, how, and what comes of it.
type Step struct {
	What string `json:"what"`
	How  string `json:"how"`
	// Result is in minor units.
	Result int64 `json:"result"`
}

// Explain says why a member owes what they do, of one kit if that is given. It
// refuses as ReadStatement does.
func Explain(ctx context.Context, tx pgx.Tx, s lab.Scope, member string, kit *string) (Explanation, error) {
	if err := mayReadAccount(ctx, tx, s, member); err != nil {
		return Explanation{}, err
	}
	if _, err := lab.FindMember(ctx, tx, s.Lab.ID, member); err != nil {
		return Explanation{}, err
	}
	entries, err := readEntries(ctx, tx, `($3::text IS NULL OR e.kit_id = $3) AND EXISTS (
		SELECT FROM postings p WHERE p.lab_id = e.lab_id AND p.entry_id = e.id AND p.account = 'member' AND p.member_id = $2)
		ORDER BY e.at, e.id`, s.Lab.ID, member, kit)
	if err != nil {
		return Explanation{}, fmt.Errorf("explain: %w", err)
	}
	names, err := kitNames(ctx, tx, s.Lab.ID, entries)
	if err != nil {
		return Explanation{}, err
	}
	out := Explanation{Member: member, Currency: s.Lab.Currency, Reasons: []Reason{}}
	for _, e := range entries {
		for _, p := range e.Postings {
			if p.Account != MemberAccount || p.Member != member {
				continue
			}
			out.Balance += p.Amount
			out.Reasons = append(out.Reasons, Reason{
				Entry: e.ID, At: e.At, Kind: e.Kind, Text: e.Text, Amount: p.Amount, Kit: e.Kit, KitName: names[e.Kit],
				Run: e.Run, Roll: p.Roll, Payment: e.Payment, Reverses: e.Reverses, Steps: StepsOf(e, p, s.Lab.Currency),
			})
		}
	}
	return out, nil
}

func kitNames(ctx context.Context, tx pgx.Tx, labID string, entries []Entry) (map[string]string, error) {
	ids := make([]string, len(entries))
	for i, e := range entries {
		ids[i] = e.Kit
	}
	rows, err := tx.Query(ctx, `SELECT id, name FROM kits WHERE lab_id = $1 AND id = ANY ($2)`, labID, ids)
	if err != nil {
		return nil, fmt.Errorf("names of kits: %w", err)
	}
	names := map[string]string{}
	var id, name string
	_, err = pgx.ForEachRow(rows, []any{&id, &name}, func() error { names[id] = name; return nil })
	if err != nil {
		return nil, fmt.Errorf("names of kits: %w", err)
	}
	return names, nil
}

// StepsOf is the arithmetic that led to one posting of an entry.
func StepsOf(e Entry, p Posting, currency string) []Step {
	m := func(minor int64) string { return units.Money{Amount: minor, Currency: currency}.String() }
	switch {
	case e.Basis.Charge != nil:
		b := *e.Basis.Charge
		return []Step{
			{"the run's part of the kit's price, by area, provisionally",
				fmt.Sprintf("%s × %d mm² ÷ %d mm² rated = %s", m(b.PriceMinor), b.AreaMM2, b.RatedAreaMM2,
					quotient(b.PriceMinor, b.AreaMM2, b.RatedAreaMM2, currency)), b.ChargeMinor},
			partOfRun(p, b.ChargeMinor, b.AreaMM2, currency),
		}
	case e.Basis.Surcharge != nil:
		b := *e.Basis.Surcharge
		return []Step{
			{"the lab's surcharge for a run", m(b.SurchargeMinor), b.SurchargeMinor},
			partOfRun(p, b.SurchargeMinor, b.AreaMM2, currency),
		}
	case e.Basis.Closing != nil:
		return e.Basis.Closing.steps(p.Member, currency)
	case e.Kind == Reversal:
		return []Step{{"what the entry before had, taken back: " + e.Text, m(p.Amount), p.Amount}}
	case e.Kind == Purchase:
		return []Step{{"paid for the kit, and owed to who paid", m(p.Amount), p.Amount}}
	case e.Kind == WrittenOff:
		return []Step{{"the fund takes the balance over: " + e.Text, m(p.Amount), p.Amount}}
	case e.Kind == Paid:
		return []Step{{"a payment that its payee confirmed", m(p.Amount), p.Amount}}
	default:
		return []Step{{e.Text, m(p.Amount), p.Amount}}
	}
}

func partOfRun(p Posting, whole, area int64, currency string) Step {
	return Step{"this roll's part of it, by area",
		fmt.Sprintf("%s × %d mm² ÷ %d mm² = %s; whole units by largest remainder",
			units.Money{Amount: whole, Currency: currency}, p.AreaMM2, area, quotient(whole, p.AreaMM2, area, currency)), p.Amount}
}

// steps is how a closing came to what it adjusts for one member, or the fund.
func (c Closing) steps(member, currency string) []Step {
	m := func(minor int64) string { return units.Money{Amount: minor, Currency: currency}.String() }
	var own Share
	var price int64
	for _, s := range c.Shares {
		price += s.Total
		if s.Member == member {
			own = s
		}
	}
	used := price - c.UnusedMinor
	whole := max(c.RatedAreaMM2, c.UsedAreaMM2+c.SpoiledAreaMM2)
	steps := []Step{{"the part of the kit's price that finished rolls used",
		fmt.Sprintf("%s × %d mm² ÷ %d mm² = %s", m(price), c.UsedAreaMM2, whole, quotient(price, c.UsedAreaMM2, whole, currency)), used}}
	steps = append(steps, Step{"your part of that, " + c.measured(own), m(used) + " shared " + c.Rule.words(), own.Used})
	if own.Unused != 0 {
		what := "what was never used"
		if c.SpoiledFallsOn == AsUnused && c.SpoiledMinor > 0 {
			what = "what was never used or was spoiled"
		}
		all := c.UnusedMinor
		if c.SpoiledFallsOn != AsUnused {
			all -= c.SpoiledMinor
		}
		steps = append(steps, Step{"your part of " + what, fmt.Sprintf("%s falls on the %s", m(all), c.UnusedFallsOn), own.Unused})
	}
	if own.Spoiled != 0 {
		steps = append(steps, Step{"your part of what spoiled runs used", fmt.Sprintf("%s falls on the %s", m(c.SpoiledMinor), c.SpoiledFallsOn), own.Spoiled})
	}
	steps = append(steps, Step{"your share of the kit in all", fmt.Sprintf("%s + %s + %s", m(own.Used), m(own.Unused), m(own.Spoiled)), own.Total})
	return append(steps, Step{"less what its runs had charged you", fmt.Sprintf("%s − %s", m(own.Total), m(own.Provisional)), own.Adjustment})
}

// measured says what a share is weighed by.
func (c Closing) measured(s Share) string {
	switch c.Rule {
	case ByArea:
		return fmt.Sprintf("%d mm² of %d mm²", s.AreaMM2, c.UsedAreaMM2)
	case ByRoll:
		var rolls int64
		for _, other := range c.Shares {
			rolls += other.Rolls
		}
		return fmt.Sprintf("%d of %d rolls", s.Rolls, rolls)
	case Weighted:
		return "by the shares you took"
	default:
		return "the same for each"
	}
}

// words is the rule as people say it.
func (r Rule) words() string {
	switch r {
	case ByArea:
		return "by area"
	case ByRoll:
		return "by roll"
	case Weighted:
		return "by weight among the subscribers"
	default:
		return "equally"
	}
}

// quotient is amount × part ÷ whole in the currency, to two digits beyond its
// minor unit, rounded half away from zero.
func quotient(amount, part, whole int64, currency string) string {
	if whole == 0 {
		return "0"
	}
	exact := new(big.Rat).SetFrac(new(big.Int).Mul(big.NewInt(amount), big.NewInt(part)), big.NewInt(whole))
	e := units.Exponent(currency)
	scale := new(big.Rat).SetInt(new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(e)), nil))
	return exact.Quo(exact, scale).FloatString(e + 2)
}
