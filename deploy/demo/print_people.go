package demo

import (
	"fmt"
	"strings"

	"wetside/lab"
)

// places prints what the week had for the rolls of a member who looked.
func (p printer) places(told *Told) {
	if told == nil {
		return
	}
	for i, e := range told.Places {
		for _, pl := range e.Places {
			if i == 0 {
				owner := p.member(p.roll(pl.Rolls[0]).Member).Name
				p.head("PLACES that %s saw for %d × %s, %s", owner, len(pl.Rolls), pl.Format, p.process(pl.Process).Name)
			}
			var why []string
			for _, r := range pl.Reasons {
				why = append(why, r.Code+": "+p.words.Replace(r.Detail))
			}
			p.line(32, "  %s %s", pad(fmt.Sprintf("%s: %d of %d", p.sessionName(e.ID), pl.Fit, len(pl.Rolls)), 28), strings.Join(why, "; "))
		}
	}
}

func (p printer) refusals(told *Told) {
	p.head("TOLD NO ON THE WAY")
	if told == nil {
		p.line(2, "  Refusals are not kept: only the run that loads the demo sees them.")
		return
	}
	for _, r := range told.Refusals {
		p.line(4, "  %s  %s %s", p.clock(r.At, "Mon 2 Jan 15:04"), r.Who, r.What)
		p.line(8, "      %d %s: %s", r.Problem.Status, r.Problem.Code, p.words.Replace(r.Problem.Detail))
		seen := map[string]bool{}
		for _, f := range r.Problem.Errors {
			text := pad(f.Code, 17) + " " + p.words.Replace(f.Detail)
			if !seen[text] {
				p.line(24, "      %s", text)
			}
			seen[text] = true
		}
	}
}

func (p printer) signIns(url string) {
	p.head("SIGN IN")
	p.put("  Each code works once, for a day. Trade it for a token, and show that:")
	p.put("")
	p.put(`  TOKEN=$(curl -sS ` + url + `/v1/tokens -H 'Content-Type: application/json' \`)
	p.put(`    -d '{"code": "CODE"}' | sed 's/.*"access_token":"\([^"]*\)".*/\1/')`)
	p.put(`  LAB=` + url + `/v1/labs/` + p.Lab.ID)
	p.put(`  curl -sS -H "Authorization: Bearer $TOKEN" $LAB/sessions`)
	p.put("")
	for _, m := range p.Members {
		roles := make([]string, len(m.Roles))
		for i, r := range m.Roles {
			roles[i] = string(r)
		}
		if m.Has(lab.RoleKeeper) {
			roles = []string{"keeper, with every role"}
		}
		p.put("  " + pad(m.Name, 24) + p.Codes[m.ID] + "  " + strings.Join(roles, ", "))
	}
}
