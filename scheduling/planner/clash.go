package planner

import (
	"context"
	"slices"
	"time"
)

// A Clash is holds, bookings and pins, that cannot all be kept, as small a set
// of them as was found. A set of one cannot be kept even by itself.
type Clash struct {
	Holds []ClashHold `json:"holds"`
	// Proved says that it is proved that no plan keeps them all; otherwise none
	// was found.
	Proved bool `json:"proved"`
	// Smallest says that with any one of them taken back a plan was found that
	// keeps the rest, so that none is in the set for nothing.
	Smallest bool `json:"smallest"`
}

// A ClashHold is one of the holds of a Clash.
type ClashHold struct {
	Roll    string `json:"roll"`
	Session string `json:"session"`
	// Kind is a Hold… constant: of a roll that is booked where it is pinned too
	// it is HoldBooking.
	Kind string `json:"kind"`
}

// The kinds of hold.
const (
	HoldBooking = "booking"
	HoldPin     = "pin"
)

const (
	// mostClashes is how many clashes a plan names, mostClashTries for how many
	// sets of holds each is looked for.
	mostClashes    = 8
	mostClashTries = 80
	// clashSteps is how long the search may improve the last set, and the
	// relaxation work, to prove that it cannot be kept.
	clashSteps = 200
)

// FindClash says what of the held rolls of p keeps one of them from its place:
// a smallest set with it that cannot all be kept, beside those that can be kept
// without it. It is nil if a plan keeps the roll and all of those.
//
// The set is found by leaving out one hold after another, as long as what
// remains does not fit; see Fits for how that is known. It fails with
// *[InvalidError], and is nil for a roll that is not held.
func FindClash(ctx context.Context, p *Problem, roll string) (*Clash, error) {
	if faults := p.Validate(); len(faults) > 0 {
		return nil, &InvalidError{Faults: faults}
	}
	deadline := time.Now().Add(defaultBudget)
	if p.Search.Budget > 0 {
		deadline = time.Now().Add(p.Search.Budget.Std())
	}
	cf := newClashFinder(p, func() bool { return ctx.Err() != nil || time.Now().After(deadline) })
	if _, held := cf.session[roll]; !held {
		return nil, nil
	}
	var others []string
	for id := range cf.session {
		if id != roll {
			others = append(others, id)
		}
	}
	slices.Sort(others)
	return cf.around(roll, cf.kept(others)), nil
}

// A clashFinder tries sets of the held rolls of a problem.
type clashFinder struct {
	p       *Problem
	expired func() bool
	session map[string]string // of each held roll
	kind    map[string]string
	tries   int
}

func newClashFinder(p *Problem, expired func() bool) *clashFinder {
	cf := &clashFinder{p: p, expired: expired, session: make(map[string]string), kind: make(map[string]string)}
	for _, h := range p.Pins {
		cf.session[h.Roll], cf.kind[h.Roll] = h.Session, HoldPin
	}
	for i := range p.Rolls {
		if r := &p.Rolls[i]; r.Booked != "" {
			cf.session[r.ID], cf.kind[r.ID] = r.Booked, HoldBooking
		}
	}
	return cf
}

// search looks for a plan of some held rolls alone.
func (cf *clashFinder) search(rolls []string) (*search, *bounds) {
	q := *cf.p
	among := func(id string) bool { _, ok := slices.BinarySearch(rolls, id); return ok }
	q.Rolls, q.Pins, q.Bans, q.Previous = nil, nil, nil, nil
	for i := range cf.p.Rolls {
		if among(cf.p.Rolls[i].ID) {
			q.Rolls = append(q.Rolls, cf.p.Rolls[i])
		}
	}
	for _, h := range cf.p.Pins {
		if among(h.Roll) {
			q.Pins = append(q.Pins, h)
		}
	}
	for _, h := range cf.p.Bans {
		if among(h.Roll) {
			q.Bans = append(q.Bans, h)
		}
	}
	sr := newSearch(compile(&q))
	sr.expired = cf.expired
	bd := newBounds(sr.m, sr.expired)
	sr.hold(bd)
	return sr, bd
}

// kept are the rolls, of some, that a plan of them keeps: all if it can be.
func (cf *clashFinder) kept(rolls []string) []string {
	sr, _ := cf.search(rolls)
	var out []string
	for _, b := range sr.best {
		for _, r := range b.rolls {
			out = append(out, sr.m.p.Rolls[r].ID)
		}
	}
	slices.Sort(out)
	return out
}

// fit says that a plan of these rolls was found; certain that it is proved
// that there is none.
func (cf *clashFinder) fit(rolls []string) (ok, certain bool) {
	cf.tries++
	sr, bd := cf.search(rolls)
	return sr.bestWorth[displaced] == 0, bd.first[displaced] > 0
}

// around finds a smallest set of holds that do not fit together, of one and of
// others that fit without it; nil if all fit, or if there was no time to know.
func (cf *clashFinder) around(roll string, others []string) *Clash {
	cf.tries = 0
	elsewhere := func(id string) bool { return cf.session[id] != cf.session[roll] }
	set := insert(slices.DeleteFunc(slices.Clone(others), elsewhere), roll)
	ok, certain := cf.fit(set)
	wide := ok
	if wide {
		set = insert(others, roll)
		ok, certain = cf.fit(set)
	}
	if ok || cf.expired() {
		return nil
	}
	smaller := true // the last pass made it
	try := func(less []string) {
		if cf.tries >= mostClashTries || cf.expired() {
			return
		}
		if ok, sure := cf.fit(less); !ok && !cf.expired() {
			set, certain, smaller = less, sure, true
		}
	}
	if wide {
		for _, s := range cf.sessions(set) {
			if s != cf.session[roll] {
				try(slices.DeleteFunc(slices.Clone(set), func(id string) bool { return cf.session[id] == s }))
			}
		}
	}
	// Fewer rolls may need what more do not: a kit that one of them had mixed.
	// So it is small enough only when a whole pass takes nothing out.
	for smaller && cf.tries < mostClashTries && !cf.expired() {
		smaller = false
		for _, id := range slices.Backward(set) {
			if at, in := slices.BinarySearch(set, id); in && len(set) > 1 {
				try(slices.Delete(slices.Clone(set), at, at+1))
			}
		}
	}
	c := &Clash{Smallest: !smaller && cf.tries < mostClashTries && !cf.expired(), Proved: certain || cf.proved(set)}
	for _, id := range set {
		c.Holds = append(c.Holds, ClashHold{Roll: id, Session: cf.session[id], Kind: cf.kind[id]})
	}
	return c
}

// insert is a sorted list with one more.
func insert(list []string, id string) []string {
	at, _ := slices.BinarySearch(list, id)
	return slices.Insert(slices.Clone(list), at, id)
}

// sessions are those that rolls are held to, in order of their ids.
func (cf *clashFinder) sessions(rolls []string) []string {
	var out []string
	for _, id := range rolls {
		out = append(out, cf.session[id])
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// proved says that the relaxation proves that rolls do not fit.
func (cf *clashFinder) proved(rolls []string) bool {
	if cf.expired() {
		return false
	}
	sr, bd := cf.search(rolls)
	pf := bd.proofs(clashSteps)
	sr.improve(pf, clashSteps, displaced+1)
	return pf.bound(&sr.bestWorth, displaced) > 0
}

// clashes finds for each held roll that the plan leaves out what it clashes
// with of those that the plan keeps, once for rolls that are alike and where
// they are held.
func (sr *search) clashes() []Clash {
	var out []Clash
	m := sr.m
	cf := newClashFinder(m.p, sr.expired)
	var kept []string
	for i := range m.rolls {
		if m.rolls[i].held != noHold && sr.placed(i) {
			kept = append(kept, m.p.Rolls[i].ID)
		}
	}
	slices.Sort(kept)
	told := make(map[int]bool)
	for i := range m.rolls {
		if m.rolls[i].held == noHold || told[m.rolls[i].typ] || sr.placed(i) {
			continue
		}
		if len(out) == mostClashes || sr.expired() {
			break
		}
		told[m.rolls[i].typ] = true
		if c := cf.around(m.p.Rolls[i].ID, kept); c != nil {
			out = append(out, *c)
		}
	}
	return out
}
