package demo

import (
	"fmt"
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

// A kitShare is what one party was charged for a kit.
type kitShare struct {
	party             string
	rolls             int
	areaMM2           int64
	charged, adjusted int64
}

// sharesOf adds up a kit's charges and closing by party, in the books' order.
func (b *Board) sharesOf(kit string) []kitShare {
	var out []kitShare
	at := map[string]int{}
	for _, e := range b.Entries {
		if e.Kit != kit || e.Kind == shares.Purchase {
			continue
		}
		for _, post := range e.Postings {
			if post.Account == shares.OwnKit {
				continue
			}
			if _, ok := at[post.Member]; !ok {
				at[post.Member] = len(out)
				out = append(out, kitShare{party: post.Member})
			}
			share := &out[at[post.Member]]
			if e.Kind == shares.RunCharge {
				share.charged += post.Amount
				share.areaMM2 += post.AreaMM2
				share.rolls++
			} else {
				share.adjusted += post.Amount
			}
		}
	}
	return out
}

func (p printer) closedKit(k chemistry.Kit) {
	p.head("CLOSED KIT: %s", k.Name)
	p.line(2, "  %s, bought by %s; closed %s as %s; shared %s, what went unused on the %s.", money(k.Price.Amount, k.Price.Currency),
		p.party(k.BoughtBy), p.clock(*k.ClosedAt, "Mon 2 Jan"), strings.ReplaceAll(string(k.ClosedBecause), "_", " "),
		strings.ReplaceAll(string(k.ShareRule), "_", " "), k.UnusedFallsOn)
	p.put("  " + pad("", 24) + right("rolls", 6) + right("area", 8) + right("by its runs", 16) + right("at closing", 16) + right("in all", 16))
	var total kitShare
	for _, s := range p.sharesOf(k.ID) {
		p.shareLine(p.party(s.party), s)
		total.rolls += s.rolls
		total.areaMM2 += s.areaMM2
		total.charged += s.charged
		total.adjusted += s.adjusted
	}
	p.shareLine("together", total)
	p.line(2, "  Rated for %s roll-equivalents: %s were charged as used, %s went unused or spoiled.",
		rollEquivalents(k.RatedAreaMM2*k.Portions), money(total.charged, p.Lab.Currency), money(total.adjusted, p.Lab.Currency))
}

func (p printer) shareLine(who string, s kitShare) {
	m := func(minor int64) string { return right(money(minor, p.Lab.Currency), 16) }
	p.put("  " + pad(who, 24) + right(fmt.Sprint(s.rolls), 6) + right(rollEquivalents(s.areaMM2), 8) + m(s.charged) + m(s.adjusted) + m(s.charged+s.adjusted))
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
	for _, b := range p.Settlement.Balances {
		note := ""
		if b.Member == "" {
			note = "   of which kits still open: " + money(p.Settlement.OpenKits, p.Settlement.Currency)
		}
		p.put("  " + pad(p.party(b.Member), 24) + right(money(b.Amount, p.Settlement.Currency), 14) + note)
	}
	proof := fmt.Sprintf("%d would always do", p.Settlement.AtMost)
	if p.Settlement.FewestProved {
		proof = "no fewer would do"
	}
	p.put("")
	p.line(2, "  Settled by %s (%s):", count(len(p.Settlement.Payments), "payment", "payments"), proof)
	for _, pay := range p.Settlement.Payments {
		p.put("    " + pad(p.party(pay.From), 24) + " pays " + pad(p.party(pay.To), 24) + right(money(pay.Amount, p.Settlement.Currency), 14))
	}
	st := p.Statement
	p.put("")
	p.put("  A statement: " + p.party(st.Member))
	for _, l := range st.Lines {
		p.put("    " + pad(p.clock(l.At, "Mon _2 Jan"), 12) + pad(l.Text, 50) + right(money(l.Amount, st.Currency), 14) + right(money(l.Balance, st.Currency), 14))
	}
}
