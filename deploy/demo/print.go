package demo

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"wetside/scheduling"
	"wetside/scheduling/planner"
)

// Print writes the lab's week as people read it: the plan by day, what it
// leaves out, its worth and proof, the baths, the money, and how to sign in.
// told is what happened on the way, nil if the demo was loaded before.
func Print(w io.Writer, b *Board, told *Told, url string) error {
	p := &paper{w: w}
	pr := printer{Board: b, paper: p, words: b.words()}
	pr.week()
	pr.leftOut()
	pr.levels()
	pr.breakdown()
	pr.proved()
	pr.places(told)
	pr.after(told)
	pr.gains(told)
	pr.baths()
	pr.bathAnswer()
	pr.mixing()
	pr.film()
	pr.closed()
	pr.money()
	pr.why()
	pr.refusals(told)
	pr.runSheet()
	pr.trace()
	pr.waste()
	pr.signIns(url)
	return p.err
}

// A printer prints a board.
type printer struct {
	*Board
	*paper
	words words
}

func (p printer) week() {
	span := p.Plan.Problem.Horizon
	_, number := span.Start.In(p.Lab.Location()).ISOWeek()
	p.put(p.Lab.Name)
	p.line(0, "%s, %s. %d members, %d rolls; %d tanks, %d kits.", p.Lab.TimeZone, p.Lab.Currency,
		len(p.Members), len(p.Rolls), len(p.Tanks), len(p.Kits))
	p.head("WEEK %d, %s to %s", number, p.clock(span.Start, "Mon 2 Jan"), p.clock(span.End.Add(-time.Second), "Mon 2 Jan 2006"))
	placed := 0
	for _, b := range p.Batches {
		placed += len(b.Rolls)
	}
	p.line(0, "%s in %s; %s placed, %d left out. %s, %s.",
		count(len(p.Batches), "batch", "batches"), count(len(p.Sessions), "session", "sessions"), count(placed, "roll", "rolls"),
		len(p.Plan.LeftOut), p.member(p.Plan.MadeBy).Name, p.clock(*p.Plan.CommittedAt, "Mon 2 Jan 15:04"))
	p.put("On the time lines: ░ mix, warm up and load   █ wet   ▒ clean up   · free; a cell is five minutes.")
	var first scheduling.OpenSession
	for _, e := range p.Sessions {
		if day := p.clock(e.Start, "Monday 2 January"); first.ID == "" || day != p.clock(first.Start, "Monday 2 January") {
			first = e
			p.put("")
			p.put(day + " " + strings.Repeat("─", columns-1-len([]rune(day))))
		} else {
			p.put("")
		}
		p.session(e, e.Start.Sub(first.Start))
	}
}

// cell is the span of one character of a time line.
const cell = 5 * time.Minute

// session draws a session's time line, so much later than its day's first,
// and lists its batches.
func (p printer) session(e scheduling.OpenSession, later time.Duration) {
	batches := slices.DeleteFunc(slices.Clone(p.Batches), func(b scheduling.Batch) bool { return b.Session != e.ID })
	line := []rune(strings.Repeat("·", int(e.End.Sub(e.Start)/cell)))
	names := []rune(strings.Repeat(" ", len(line)))
	for i, b := range batches {
		for j := range line {
			// A cell shows what happens in its middle.
			at := e.Start.Add(time.Duration(j)*cell + cell/2)
			switch {
			case at.Before(b.Start) || !at.Before(b.Clear):
			case at.Before(b.Wet):
				line[j] = '░'
			case at.Before(b.End):
				line[j] = '█'
			default:
				line[j] = '▒'
			}
		}
		names[int(b.Start.Sub(e.Start)/cell)] = rune('A' + i)
	}
	margin := strings.Repeat(" ", int(later/cell))
	p.line(0, "  %s%s %s %s %s", pad(p.tank(e.Tank).Name, 11), margin, p.clock(e.Start, "15:04"), string(line), p.clock(e.End, "15:04"))
	p.line(0, "  %s%s       %s", pad("", 10), margin, string(names))
	p.line(4, "    %s, for %s", p.member(e.Operator).Name, strings.Join(e.Processes, ", "))
	for i, b := range batches {
		p.batch(rune('A'+i), b)
	}
}

func (p printer) batch(letter rune, b scheduling.Batch) {
	dry := b.End
	for _, pl := range b.Rolls {
		if pl.DryAt.After(dry) {
			dry = pl.DryAt
		}
	}
	dryAt := p.clock(dry, "15:04")
	if p.clock(dry, "2") != p.clock(b.Start, "2") {
		dryAt = p.clock(dry, "Mon 15:04")
	}
	process := p.process(b.Process)
	class := process.Name + pushed(b.Push)
	if process.FilmDeveloping {
		class = process.Name + ", developed " + clockTime(b.Developing)
	}
	p.line(6, "    %c %s–%s  %s", letter, p.clock(b.Start, "15:04"), p.clock(b.Clear, "15:04"), class)
	bath := p.kit(b.Kit).Name
	if b.Mixes {
		bath = "mixes " + bath
	}
	var reels []string
	for _, u := range b.Reels {
		reels = append(reels, fmt.Sprintf("%d × %s", u.Count, u.Kind))
	}
	p.line(8, "      wet %s, hung %s, dry %s; %s; %s", p.clock(b.Wet, "15:04"), p.clock(b.End, "15:04"), dryAt, strings.Join(reels, " + "), bath)
	p.line(8, "      %s", p.load(b.Rolls))
}

// load is a batch's rolls by member.
func (p printer) load(rolls []planner.Placement) string {
	booked := map[string]bool{}
	for _, r := range p.Plan.Problem.Rolls {
		booked[r.ID] = r.Booked != ""
	}
	type item struct{ member, what string }
	counts := map[item]int{}
	var order []item
	for _, pl := range rolls {
		r := p.roll(pl.Roll)
		it := item{p.member(r.Member).Name, r.Format}
		if booked[r.ID] {
			it.what += " booked"
		}
		if counts[it]++; counts[it] == 1 {
			order = append(order, it)
		}
	}
	slices.SortStableFunc(order, func(x, y item) int { return cmp.Compare(x.member, y.member) })
	var parts []string
	for i, it := range order {
		part := it.member + " "
		if i > 0 && order[i-1].member == it.member {
			part = ""
		}
		if counts[it] > 1 {
			part += fmt.Sprintf("%d × ", counts[it])
		}
		parts = append(parts, part+it.what)
	}
	return strings.Join(parts, "; ")
}

func (p printer) leftOut() {
	p.head("LEFT OUT: %s, and why", count(len(p.Plan.LeftOut), "roll", "rolls"))
	for _, l := range p.Plan.LeftOut {
		r := p.roll(l.Roll)
		p.line(4, "  %s, %s, %s%s", p.member(r.Member).Name, p.format(r.Format).Name, p.process(r.Process).Name, pushed(r.Push))
		for _, why := range p.grouped(l.Reasons) {
			p.line(24, "      %s", why)
		}
		if l.Change != "" {
			said := p.words.Replace(l.Change)
			if l.Verified {
				said += " (planned again: it does)"
			}
			p.line(24, "      → smallest change: %s", said)
		}
	}
}

// grouped are reasons as lines, those that say the same of several sessions in one.
func (p printer) grouped(reasons []planner.Reason) []string {
	where := map[planner.Reason][]string{}
	var order []planner.Reason
	for _, r := range reasons {
		same := planner.Reason{Code: r.Code, Detail: r.Detail}
		if _, seen := where[same]; !seen {
			order = append(order, same)
			where[same] = nil
		}
		if r.Session != "" {
			where[same] = append(where[same], p.sessionName(r.Session))
		}
	}
	lines := make([]string, 0, len(order))
	for _, r := range order {
		at := ""
		if len(where[r]) > 0 {
			at = strings.Join(where[r], "; ") + ": "
		}
		lines = append(lines, pad(r.Code, 17)+" "+at+p.words.Replace(r.Detail))
	}
	return lines
}

func (p printer) levels() {
	p.head("WORTH OF THE PLAN, most important first")
	p.table(p.Plan.Levels)
	if p.Plan.Complete {
		p.put("  The search ended by itself: the same problem gives the same plan anywhere.")
	}
}

// table is what each level is worth, what it cannot be below, and whether that is the same.
func (p printer) table(levels []planner.Level) {
	p.put("  " + pad("level", 12) + right("value", 10) + right("no less than", 14) + right("gap", 10) + "  unit")
	for _, l := range levels {
		gap := "proved"
		if !l.Proved() {
			gap = fmt.Sprint(l.Value - l.Bound)
		}
		p.put("  " + pad(l.Name, 12) + right(fmt.Sprint(l.Value), 10) + right(fmt.Sprint(l.Bound), 14) + right(gap, 10) + "  " + l.Unit)
	}
}
