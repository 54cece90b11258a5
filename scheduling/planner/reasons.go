package planner

import (
	"fmt"
	"slices"
)

// explain gives every reason for which a roll is not in the plan, session by
// session, and, if asked, the smallest change that would place it, verified
// when there is a verifier. When time is over it says so in place of what it
// has not found.
func (s *state) explain(roll int, change bool, verify func(r *Remedy, roll, sess int) bool, expired func() bool) LeftOut {
	m := s.m
	ex := &explainer{s: s, roll: roll, bd: newBuilder(s), expired: expired}
	r := &m.rolls[roll]
	process := m.p.Classes[r.class].Process
	kind := m.p.Reels[r.kind].Kind
	usable := false
	if m.kinds[r.kind].count == 0 {
		ex.add(ReasonReelKind, "", "the lab has no %s reel", kind)
		usable = true
	}
	if !m.hangs(r) {
		ex.add(ReasonCabinet, "", "no cabinet has the positions for film hung as %s", m.p.Rolls[roll].Hang)
	}
	carried := slices.ContainsFunc(m.setsOf[m.class[r.class].process], func(st int) bool { return m.sets[st].carries[r.class] })
	if !carried {
		ex.add(ReasonNoBath, "", "no bath set has all the baths of %s", process)
	}
	if r.held != noHold {
		ex.add(ReasonBookedElse, "", "held to session %s, so no other is open to it", m.p.Sessions[r.held].ID)
	}
	for sess := range m.sess {
		if ex.over {
			break
		}
		if m.kinds[r.kind].count == 0 || r.held != noHold && r.held != sess || !m.sess[sess].process[m.class[r.class].process] {
			continue
		}
		id := m.p.Sessions[sess].ID
		switch {
		case m.sess[sess].end <= m.sess[sess].start:
			// It lies before the horizon: only what is frozen is in it.
		case m.banned[roll][sess]:
			ex.add(ReasonBanned, id, "the steward keeps it out of this session")
			usable = true
		case !m.tanks[m.sess[sess].tank].takes[r.kind]:
			ex.add(ReasonReelKind, id, "tank %s takes no %s reel", m.p.Sessions[sess].Tank, kind)
		default:
			usable = true
			ex.session(sess)
		}
	}
	if !usable {
		ex.add(ReasonNoSession, "", "no session open to it allows %s in a tank that takes a %s reel", process, kind)
	}
	if ex.over {
		ex.add(ReasonTimeOver, "", "the search's time was over before all sessions had been looked at")
	}
	if len(ex.out) == 0 {
		ex.add(ReasonCabinet, "", "it would be dry later than leaving it out counts")
	}
	out := LeftOut{Roll: m.p.Rolls[roll].ID, Reasons: ex.out}
	if change && !ex.over {
		out.Change, out.Remedy, out.Verified = ex.change(verify)
	}
	return out
}

// An explainer gathers the reasons of one roll.
type explainer struct {
	s    *state
	bd   *builder
	roll int
	out  []Reason
	in   int // the session that the last change tried would place it in

	expired func() bool
	looked  int
	over    bool // expired was found to be so
}

// explainedOften is after how many ways of placing a roll the clock is asked.
const explainedOften = 16

// add notes a reason, once for a rule and session.
func (ex *explainer) add(code, session, format string, args ...any) {
	if !slices.ContainsFunc(ex.out, func(r Reason) bool { return r.Code == code && r.Session == session }) {
		ex.out = append(ex.out, Reason{Code: code, Session: session, Detail: fmt.Sprintf(format, args...)})
	}
}

// session finds what stands in the way in one session: of a run for the roll
// alone, with any bath set, and of joining any run there.
func (ex *explainer) session(sess int) {
	s, m := ex.s, ex.s.m
	class := m.rolls[ex.roll].class
	for _, set := range m.setsOf[m.class[class].process] {
		if m.sets[set].carries[class] && !ex.over {
			b := &batch{sess: sess, set: set, reels: make([]int64, len(m.kinds))}
			m.with(b, ex.roll)
			ex.way(b)
		}
	}
	for _, o := range s.batches {
		if ex.over || o.sess != sess || !m.share(class, o.class) {
			continue
		}
		b := &batch{sess: sess, set: o.set, reels: make([]int64, len(m.kinds)), rolls: slices.Clone(o.rolls), cabs: slices.Clone(o.cabs)}
		m.with(b, ex.roll)
		s.detach(o)
		ex.way(b)
		s.attach(o)
	}
}

// timed are the rules that can leave no time for a batch.
var timed = []string{ReasonSessionTime, ReasonOperator, ReasonBathBusy, ReasonReels, ReasonCabinet}

// way finds what stands in the way of one batch.
func (ex *explainer) way(b *batch) {
	s, m := ex.s, ex.s.m
	if ex.looked++; ex.looked%explainedOften == 0 && ex.expired() {
		ex.over = true
	}
	if ex.over {
		return
	}
	switch code := m.shape(b); code {
	case "":
	case reasonClass:
		return // it would not be a batch: nothing to say of the session
	default:
		ex.shapeDetail(b, code)
		return
	}
	if bath := s.carries(b); bath >= 0 {
		ex.capacityDetail(b, bath)
	}
	// Each rule of time by itself; the limits of session, life and hand-in
	// count beside every one of them.
	s.only = "limits"
	code := s.when(b)
	s.only = ""
	if code != "" {
		ex.limitDetail(b, code)
		return
	}
	found := false
	for _, rule := range timed {
		s.only = rule
		if s.when(b) != "" {
			s.only = "limits"
			s.when(b)
			ex.timeDetail(b, rule)
			found = true
		}
		s.only = ""
	}
	if found {
		return
	}
	// Only together do they leave no time: name the last met.
	if code := s.when(b); code != "" {
		s.only = "limits"
		s.when(b)
		s.only = ""
		ex.timeDetail(b, code)
	}
}
