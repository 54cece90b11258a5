package planner

import (
	"fmt"
	"slices"
	"strings"
)

// mostAsked bounds how often it is asked what keeps a roll out of a batch, so
// that saying why takes a fraction of a second of any plan.
const mostAsked = 20_000

// tell adds to a plan that is just written what each batch is for, and where
// rolls have gone since the plan before.
func (sr *search) tell(pl *Plan) {
	asked := 0
	for i, b := range sr.best { // the state's batches, in the plan's order
		pl.Batches[i].Why = sr.s.why(b, &asked)
	}
	pl.Moved = moved(sr.m.p, pl)
}

// why says in a sentence what brings a batch's rolls together, and what keeps
// others that might share it out: rolls of classes that may share it, counted
// by the rule that stands in the way, the plan being as it is. The batch is one
// of the state's.
func (s *state) why(b *batch, asked *int) string {
	m := s.m
	together := plural(int64(len(b.rolls)), "roll", "rolls") + " of " + m.p.Classes[b.class].Process
	if n := count(b.rolls, func(r int) bool { return m.rolls[r].held != noHold }); n > 0 {
		together += fmt.Sprintf(", %d held to this session", n)
	}
	s.detach(b)
	defer s.attach(b)
	kept := make(map[string]int64)
	answers := make(map[int]string) // by type: alike rolls meet alike rules
	others := int64(0)
	for r := range m.rolls {
		if s.of[r] == b || slices.Contains(b.rolls, r) || !m.shareAll(b, r) {
			continue
		}
		others++
		answer, ok := answers[m.rolls[r].typ]
		switch {
		case ok:
		case *asked >= mostAsked:
			answer = "in other runs or left out"
		default:
			*asked++
			answer = s.apart(b, r)
			answers[m.rolls[r].typ] = answer
		}
		kept[answer]++
	}
	if others == 0 {
		return together + "; no other roll could share the run"
	}
	var parts []string
	for _, answer := range sortedKeys(kept) {
		parts = append(parts, fmt.Sprintf("%d %s", kept[answer], answer))
	}
	return together + fmt.Sprintf("; of %s that could share a run with them ", plural(others, "other", "others")) + strings.Join(parts, ", ")
}

// shareAll says that the classes of a batch and of a roll may share a run.
func (m *model) shareAll(b *batch, roll int) bool {
	class := m.rolls[roll].class
	return !slices.ContainsFunc(b.rolls, func(r int) bool { return m.rolls[r].class != class && !m.share(m.rolls[r].class, class) })
}

func count(list []int, is func(int) bool) (n int) {
	for _, v := range list {
		if is(v) {
			n++
		}
	}
	return n
}

// apartWords are how reasons read after a number of rolls.
var apartWords = map[string]string{
	ReasonReelKind: "on reels that the tank does not take", ReasonReels: "without a dry reel", ReasonTankHeight: "beyond the tank's height",
	ReasonSolution: "more than the solution covers", ReasonRunArea: "more film than the solution carries", ReasonNoBath: "in need of other baths",
	ReasonBathCapacity: "more than the bath has left", ReasonBathLife: "too late for the bath", ReasonBathBusy: "while another run has the bath",
	ReasonSessionTime: "without time left in the session", ReasonOperator: "while the operator is needed elsewhere", ReasonCabinet: "without a hanging position",
	ReasonHandedIn: "handed in too late",
}

// apart is why a roll is not in a batch that stands detached.
func (s *state) apart(b *batch, roll int) string {
	m := s.m
	switch r := &m.rolls[roll]; {
	case r.held != noHold && r.held != b.sess:
		return "held to another session"
	case m.banned[roll][b.sess]:
		return "kept out of the session"
	}
	with := &batch{sess: b.sess, set: b.set, reels: make([]int64, len(m.kinds)), rolls: slices.Clone(b.rolls), cabs: slices.Clone(b.cabs)}
	m.with(with, roll)
	code := m.shape(with)
	if code == "" && s.carries(with) >= 0 {
		code = ReasonBathCapacity
	}
	if code == "" {
		code = s.when(with)
	}
	if words, ok := apartWords[code]; ok {
		return words
	}
	if code != "" {
		return "that the run cannot take"
	}
	if s.of[roll] != nil {
		return "no worse off where they are"
	}
	return "left out, since the plan would be worse"
}
