package demo

import (
	"fmt"
	"slices"
	"strings"

	"wetside/chemistry"
	"wetside/chemistry/shares"
)

// closed prints each kit that was closed, from the books.
func (p printer) closed() {
	for _, k := range p.Kits {
		if k.ClosedAt != nil {
			p.closedKit(k)
		}
	}
}

// A kitShare is what one party was charged for a kit by its runs, and has come
// to by each closing of it.
type kitShare struct {
	party    string
	rolls    int
	areaMM2  int64
	charged  int64
	closings []int64
}

// sharesOf adds up a kit's charges and closings by party, in the books' order.
// The last closing is the one that stands.
func (b *Board) sharesOf(kit string) (out []kitShare, closings []shares.Entry) {
	at := map[string]int{}
	line := func(party string) *kitShare {
		if _, ok := at[party]; !ok {
			at[party] = len(out)
			out = append(out, kitShare{party: party})
		}
		return &out[at[party]]
	}
	for _, e := range b.Entries {
		if e.Kit == kit && e.Kind == shares.FinalCost {
			closings = append(closings, e)
		}
		for _, post := range e.Postings {
			if e.Kit == kit && e.Kind == shares.RunCharge && post.Account != shares.OwnKit {
				s := line(post.Member)
				s.charged += post.Amount
				s.areaMM2 += post.AreaMM2
				s.rolls++
			}
		}
	}
	for i, e := range closings {
		for _, post := range e.Postings {
			if post.Account == shares.OwnKit {
				continue
			}
			s := line(post.Member)
			s.closings = append(s.closings, make([]int64, i+1-len(s.closings))...)
			s.closings[i] = post.Amount
		}
	}
	for i := range out {
		s := &out[i]
		s.closings = append(s.closings, make([]int64, len(closings)-len(s.closings))...)
		for j := range s.closings {
			s.closings[j] += s.charged
		}
	}
	return out, closings
}

func (p printer) closedKit(k chemistry.Kit) {
	p.head("CLOSED KIT: %s", k.Name)
	lines, closings := p.sharesOf(k.ID)
	p.line(2, "  %s, bought by %s; closed %s as %s.", money(k.Price.Amount, k.Price.Currency),
		p.party(k.BoughtBy), p.clock(*k.ClosedAt, "Mon 2 Jan"), strings.ReplaceAll(string(k.ClosedBecause), "_", " "))
	for i, e := range closings {
		rule, _, _ := strings.Cut(strings.TrimPrefix(e.Text, "Final shares "), ":")
		note := "which stands"
		if back := slices.IndexFunc(p.Entries, func(x shares.Entry) bool { return x.Reverses == e.ID }); back >= 0 {
			note = "reversed: " + p.Entries[back].Text
		}
		p.line(6, "  (%d) shared %s; %s", i+1, rule, note)
	}
	head := "  " + pad("", 22) + right("rolls", 6) + right("area", 8) + right("by its runs", 15)
	total := kitShare{closings: make([]int64, len(closings))}
	for i := range closings {
		head += right(fmt.Sprintf("in all by (%d)", i+1), 15)
	}
	p.put(head)
	for _, s := range lines {
		p.shareLine(p.party(s.party), s)
		total.rolls += s.rolls
		total.areaMM2 += s.areaMM2
		total.charged += s.charged
		for i, c := range s.closings {
			total.closings[i] += c
		}
	}
	p.shareLine("together", total)
	f := p.Fairness
	if f.Kit != k.ID || f.EffectivePerRoll == nil {
		return
	}
	p.line(2, "  Rated for %s roll-equivalents at %s each; %s were used, %s spoiled, %s never used: each cost %s in truth.",
		rollEquivalents(k.RatedAreaMM2*k.Portions), money(f.RatedPerRoll, p.Lab.Currency), rollEquivalents(f.UsedAreaMM2),
		rollEquivalents(f.SpoiledAreaMM2), rollEquivalents(f.UnusedAreaMM2), money(*f.EffectivePerRoll, p.Lab.Currency))
}

func (p printer) shareLine(who string, s kitShare) {
	m := func(minor int64) string { return right(money(minor, p.Lab.Currency), 15) }
	text := "  " + pad(who, 22) + right(fmt.Sprint(s.rolls), 6) + right(rollEquivalents(s.areaMM2), 8) + m(s.charged)
	for _, c := range s.closings {
		text += m(c)
	}
	p.put(text)
}

// party is a member's name, or the fund.
func (p printer) party(id string) string {
	if id == "" {
		return "the co-op's fund"
	}
	return p.member(id).Name
}

func (p printer) money() {
	p.head("WHO OWES WHAT (a minus: the co-op owes them)")
	var owe int64
	for _, b := range p.Settlement.Balances {
		note := ""
		if b.Member == "" {
			note = "   of which kits still open: " + money(p.Settlement.OpenKits, p.Settlement.Currency)
		}
		owe += max(0, b.Amount)
		p.put("  " + pad(p.party(b.Member), 24) + right(money(b.Amount, p.Settlement.Currency), 14) + note)
	}
	proof := fmt.Sprintf("%d would always do", p.Settlement.AtMost)
	if p.Settlement.FewestProved {
		proof = "no fewer would do"
	}
	p.put("")
	p.line(2, "  What is owed is what others are owed, %s, and is settled by %s (%s):", money(owe, p.Settlement.Currency),
		count(len(p.Settlement.Payments), "payment", "payments"), proof)
	for _, pay := range p.Settlement.Payments {
		p.put("    " + pad(p.party(pay.From), 22) + " pays " + pad(p.party(pay.To), 22) + right(money(pay.Amount, p.Settlement.Currency), 14) + "   " + pay.Reference)
	}
	p.put("")
	p.put("  A statement: " + p.party(p.Statement.Member))
	p.lines(p.Statement.Lines)
	p.put("")
	p.put("  A statement: the co-op's fund")
	p.lines(p.Fund.Lines)
}

// lines prints a statement's lines.
func (p printer) lines(lines []shares.Line) {
	for _, l := range lines {
		p.put("    " + pad(p.clock(l.At, "Mon _2 Jan"), 12) + pad(l.Text, 54) + right(money(l.Amount, p.Lab.Currency), 14) + right(money(l.Balance, p.Lab.Currency), 14))
	}
}

// why prints what one member owes for a kit, with the arithmetic.
func (p printer) why() {
	if len(p.Why.Reasons) == 0 {
		return
	}
	p.head("WHY DO I OWE THIS? %s, of %s", p.party(p.Why.Member), p.Why.Reasons[0].KitName)
	for _, r := range p.Why.Reasons {
		p.put("  " + pad(p.clock(r.At, "Mon _2 Jan"), 12) + pad(r.Text, 68) + right(money(r.Amount, p.Lab.Currency), 14))
		for _, step := range r.Steps {
			p.line(10, "      %s: %s → %s", step.What, step.How, money(step.Result, p.Lab.Currency))
		}
	}
	p.put("  " + pad("in all", 80) + right(money(p.Why.Balance, p.Lab.Currency), 14))
}
