package demo

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"wetside/lab/units"
	"wetside/scheduling"
)

// after prints how members booked the week after the coming one.
func (p printer) after(told *Told) {
	if told == nil {
		p.head("THE WEEK AFTER")
		p.line(2, "  How it was booked is not read back: only the run that loads the demo shows it.")
		return
	}
	a := told.After
	p.calendar(a)
	p.asked(a)
	p.waited(a)
	p.lapsed(a)
	p.alone(a)
	p.joined(a)
	p.heard(a)
}

const minute = "Mon 2 Jan 15:04"

func (p printer) calendar(a After) {
	_, week := a.Plan.Problem.Horizon.End.Add(-time.Second).In(p.Lab.Location()).ISOWeek()
	p.head("THE CALENDAR of week %d, changed", week)
	for _, step := range a.Calendar {
		p.line(4, "  %s", step.What)
		p.sessionNames("      made: ", step.Change.Sessions)
		p.sessionNames("      called off, for nobody had booked: ", step.Change.CalledOff)
	}
}

func (p printer) sessionNames(before string, sessions []scheduling.Session) {
	var names []string
	for _, e := range sessions {
		names = append(names, p.sessionName(e.ID)+" "+p.clock(e.Start, "15:04")+"–"+p.clock(e.End, "15:04"))
	}
	if len(names) > 0 {
		p.line(8, "%s%s", before, strings.Join(names, "; "))
	}
}

func (p printer) asked(a After) {
	first := a.Asked.Offers[0]
	p.head("WHEN is the first session that takes three reels of small-gauge reversal and two 135?")
	p.line(4, "  %s passed over; %s offers:", count(len(a.Asked.PassedOver), "session", "sessions"), count(len(a.Asked.Offers), "session", "sessions"))
	p.line(4, "  %s–%s, %s; dry %s, by %s at the latest", p.clock(first.Session.Start, minute), p.clock(first.Session.End, "15:04"),
		lower(p.tank(first.Session.Tank).Name), p.clock(first.DryAt, "Mon 15:04"), p.clock(first.DryBy, "Mon 15:04"))
	for _, c := range first.Costs {
		p.line(4, "  %s: %s, in the end %s to %s", p.kit(c.Kit).Name, money(c.Provisional, c.Currency), money(c.Least, c.Currency), money(c.Most, c.Currency))
	}
	p.line(4, "  %s held it at %s for %s, and confirmed at %s.", p.member(a.Booked.Member).Name, p.clock(a.Booked.CreatedAt, "15:04"),
		count(len(a.Booked.Rolls), "roll", "rolls"), p.clock(*a.Booked.ConfirmedAt, "15:04"))
}

func (p printer) waited(a After) {
	p.head("A PLACE IS WAITED FOR: %s", p.sessionName(*a.Waits[0].Session))
	for i, w := range a.Waits {
		p.line(4, "  %d  %s, %s, since %s", i+1, p.member(w.Member).Name, count(len(w.Rolls), "roll", "rolls"), p.clock(w.JoinedAt, "15:04"))
	}
	p.line(4, "  One place is given back. It goes to the first whom it fits: %s, until %s; accepted %s.",
		p.member(a.Offered.Member).Name, p.clock(*a.Offered.OfferUntil, minute), p.clock(*a.Accepted.EndedAt, minute))
}

func (p printer) lapsed(a After) {
	p.head("A HOLD LAPSES")
	p.line(4, "  %s held %s in %s until %s, did not confirm, and has none: %s.", p.member(a.Lapsed.Member).Name,
		count(len(a.Lapsed.Rolls), "place", "places"), p.sessionName(a.Lapsed.Session), p.clock(*a.Lapsed.HeldUntil, "15:04"), a.Lapsed.Status)
}

func (p printer) alone(a After) {
	p.head("A SESSION THAT A MEMBER RUNS")
	p.line(4, "  %s: %s, certified for the %s, books it and is its operator.", p.sessionName(a.Alone.ID),
		p.member(a.Alone.Operator).Name, lower(p.tank(a.Alone.Tank).Name))
}

func (p printer) joined(a After) {
	p.head("A NEW MEMBER")
	p.line(4, "  %s was invited, set a password, signed in, asked when, booked %s and signed out.",
		p.member(a.Joined.Member).Name, p.sessionName(a.Joined.Session))
}

func (p printer) heard(a After) {
	p.head("TOLD to %s", p.member(a.Accepted.Member).Name)
	for _, m := range a.Heard {
		if m.SentAt.Before(a.Waits[0].JoinedAt) {
			continue
		}
		p.line(8, "  %s  %s: %s", p.clock(m.SentAt, minute), m.Title, m.Text)
	}
	p.line(4, "  and by their calendar program (iCalendar, at a secret address):")
	for _, e := range events(a.Feed) {
		if e < p.clock(p.Plan.Problem.Horizon.Start, "20060102") {
			continue
		}
		p.line(8, "    %s", e)
	}
}

// events are the summaries of an iCalendar's events with their starts, as it gives them.
func events(feed string) (out []string) {
	var start string
	unfolded := strings.ReplaceAll(strings.ReplaceAll(feed, "\r\n", "\n"), "\n ", "")
	in := false
	for line := range strings.SplitSeq(unfolded, "\n") {
		name, value, _ := strings.Cut(line, ":")
		switch name, _, _ = strings.Cut(name, ";"); {
		case line == "BEGIN:VEVENT":
			in = true
		case line == "END:VEVENT":
			in = false
		case in && name == "DTSTART":
			start = value
		case in && name == "SUMMARY":
			out = append(out, start+"  "+value)
		}
	}
	slices.Sort(out)
	return out
}

// proved prints a plan of which all is proved, and what became of it when a tank broke down.
func (p printer) proved() {
	if p.Repaired.ID == "" {
		return
	}
	p.planned(p.Proved)
	p.head("A BREAKDOWN, %s: planned again, with the fewest changes", p.clock(p.Repaired.MadeAt, minute))
	p.line(4, "  %s taken apart, %s made, %s moved, the rest where they were", count(len(p.Repaired.Replaces), "batch", "batches"),
		count(len(p.Repaired.Batches), "batch", "batches"), count(len(p.Repaired.Moved), "roll", "rolls"))
	p.moves(p.Repaired.Moved)
	p.table(p.Repaired.Levels)
}

// planned prints a plan with why it is so, and how much is proved of it.
func (p printer) planned(plan scheduling.Plan) {
	_, week := plan.Problem.Horizon.End.Add(-time.Second).In(p.Lab.Location()).ISOWeek()
	p.head("WEEK %d PLANNED: %s, %d left out", week, count(len(plan.Batches), "batch", "batches"), len(plan.LeftOut))
	for _, b := range plan.Batches {
		p.line(6, "  %s %s: %s", p.sessionName(b.Session), p.clock(b.Start, "15:04"), p.words.Replace(b.Why))
	}
	p.table(plan.Levels)
}

// gains prints the plan of the week after, and what a change of the lab's means would gain.
func (p printer) gains(told *Told) {
	if told == nil {
		return
	}
	p.planned(told.After.Plan)
	p.line(4, "  What one change would gain, planned again with it:")
	for _, g := range told.After.Gains.Gains {
		if !g.Better {
			continue
		}
		var what []string
		for _, l := range g.Levels {
			if l.Before != l.After {
				what = append(what, fmt.Sprintf("%s %s → %s", l.Name, worth(l.Before, l.Unit), worth(l.After, l.Unit)))
			}
		}
		p.line(8, "    %s: %s", p.words.Replace(g.Change), strings.Join(what, ", "))
	}
}

// worth is a level's value; a span is written as clocks do.
func worth(value int64, unit string) string {
	if unit == "seconds" {
		return clockTime(units.Duration(value) * units.Second)
	}
	return fmt.Sprint(value)
}
