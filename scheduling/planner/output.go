package planner

import (
	"cmp"
	"fmt"
	"slices"
	"time"
)

// plan writes the best plan found, with its levels and reasons.
func (sr *search) plan(pf *proofs, complete bool) *Plan {
	m := sr.m
	pl := &Plan{Batches: []Batch{}, LeftOut: []LeftOut{}, Complete: complete}
	s := sr.s
	s.reset()
	sr.fill()
	slices.SortFunc(sr.best, func(a, b *batch) int {
		return cmp.Or(cmp.Compare(a.start, b.start), cmp.Compare(m.sess[a.sess].tank, m.sess[b.sess].tank), cmp.Compare(a.clear, b.clear))
	})
	taken := make(map[string]bool, len(m.p.Frozen))
	for i := range m.p.Frozen {
		taken[m.p.Frozen[i].ID] = true
	}
	number := 0
	for _, b := range sr.best {
		s.load(b)
		id := ""
		for id == "" || taken[id] {
			number++
			id = fmt.Sprintf("batch-%d", number)
		}
		pl.Batches = append(pl.Batches, m.batch(b, id))
	}
	w := s.value()
	pf.countedAtLast(&w)
	proof := pf.all(&w)
	for i := range LevelNames {
		pl.Levels = append(pl.Levels, Level{Name: LevelNames[i], Value: w[i], Bound: proof[i], Unit: LevelUnits[i]})
	}
	pl.LeftOut = sr.explanations()
	pl.Complete = complete && !sr.cutShort
	return pl
}

// mostHurried bounds the ways of placing rolls that are looked at for their
// reasons once time is over.
const mostHurried = 50_000

// explanations gives the reasons for every roll left out of the state's plan;
// alike rolls have alike reasons. When the search is out of time they name no
// change.
func (sr *search) explanations() []LeftOut {
	m := sr.m
	out := []LeftOut{}
	byType := make(map[int]LeftOut)
	verified := 0
	verify := func(r *Remedy, roll, sess int) bool {
		if verified++; verified > mostVerified || sr.expired() {
			return false
		}
		return sr.verified(r, roll, sess)
	}
	if !sr.verify {
		verify = nil
	}
	hurried := 0
	expired := func() bool {
		if !sr.expired() {
			return false
		}
		hurried += explainedOften
		return hurried > mostHurried
	}
	for i := range m.rolls {
		if sr.s.of[i] != nil {
			continue
		}
		lo, ok := byType[m.rolls[i].typ]
		if !ok {
			sr.cutShort = sr.cutShort || sr.expired()
			lo = sr.s.explain(i, !sr.cutShort, verify, expired)
			sr.cutShort = sr.cutShort || sr.expired()
			byType[m.rolls[i].typ] = lo
		}
		lo.Roll, lo.Reasons = m.p.Rolls[i].ID, slices.Clone(lo.Reasons)
		out = append(out, lo)
	}
	return out
}

func (m *model) at(sec int64) time.Time { return m.t0.Add(time.Duration(sec) * time.Second) }

func (m *model) batch(b *batch, id string) Batch {
	p := m.p
	out := Batch{
		ID: id, Session: p.Sessions[b.sess].ID, Tank: p.Sessions[b.sess].Tank, Process: p.Classes[b.class].Process,
		Class: p.Classes[b.class].ID, BathSet: p.BathSets[b.set].ID, Mixes: b.mixes,
		Start: m.at(b.start), Wet: m.at(b.wet), End: m.at(b.end), Clear: m.at(b.clear),
	}
	for k, n := range b.reels {
		if n > 0 {
			out.Reels = append(out.Reels, ReelUse{Kind: p.Reels[k].Kind, Count: n})
		}
	}
	for i, r := range b.rolls {
		c := b.cabs[i]
		out.Rolls = append(out.Rolls, Placement{Roll: p.Rolls[r].ID, Cabinet: p.Cabinets[c].ID, DryAt: m.at(b.end + m.cabs[c].dry)})
	}
	slices.SortFunc(out.Rolls, func(x, y Placement) int { return cmp.Compare(x.Roll, y.Roll) })
	return out
}
