package planner

import (
	"slices"

	"wetside/lab/units"
)

// A Remedy is a change of a lab's means, as data.
type Remedy struct {
	// Kind is one of the Remedy… constants, Of what it is of: a reel kind,
	// cabinet, bath set or session.
	Kind string `json:"kind"`
	Of   string `json:"of"`
	// Count is how many more reels or positions, or mm² of capacity.
	Count int64 `json:"count,omitempty"`
	// Longer is by how much a session is, Window when another one like it is.
	Longer units.Duration `json:"longer,omitempty"`
	Window *Window        `json:"window,omitempty"`
}

// The kinds of remedy.
const (
	RemedyReel      = "reel"      // one more reel of the kind
	RemedyPositions = "positions" // more hanging positions in the cabinet
	RemedyKit       = "kit"       // one more kit like the bath set's
	RemedyCapacity  = "capacity"  // more area, and a run, left in the bath set
	RemedyLonger    = "longer"    // a longer session
	RemedySession   = "session"   // one more session like the one named
)

// extra is what is added to the ids of copies.
const extra = "+1"

// Apply is the problem with the change, for the sake of a roll.
func (r Remedy) Apply(p *Problem, roll *Roll) *Problem {
	q := *p
	switch r.Kind {
	case RemedyReel:
		q.Reels = slices.Clone(p.Reels)
		for i := range q.Reels {
			if q.Reels[i].Kind == r.Of {
				q.Reels[i].Count += r.Count
			}
		}
	case RemedyPositions:
		q.Cabinets = slices.Clone(p.Cabinets)
		for i := range q.Cabinets {
			if q.Cabinets[i].ID == r.Of {
				q.Cabinets[i].Positions += r.Count
			}
		}
	case RemedyKit:
		r.addKit(&q)
	case RemedyCapacity:
		r.addCapacity(&q, roll)
	case RemedyLonger, RemedySession:
		q.Sessions = slices.Clone(p.Sessions)
		for i := range p.Sessions {
			if q.Sessions[i].ID != r.Of {
				continue
			}
			if r.Kind == RemedyLonger {
				q.Sessions[i].End = q.Sessions[i].End.Add(r.Longer.Std())
				continue
			}
			more := q.Sessions[i]
			more.ID, more.Window = more.ID+extra, *r.Window
			q.Sessions = append(q.Sessions, more)
		}
	}
	return &q
}

// addKit adds a kit like a set, unused, with baths of its own.
func (r Remedy) addKit(q *Problem) {
	i := slices.IndexFunc(q.BathSets, func(s BathSet) bool { return s.ID == r.Of })
	like := q.BathSets[i]
	more := like
	more.ID, more.Baths = like.ID+extra, nil
	q.Baths, q.BathSets = slices.Clone(q.Baths), slices.Clone(q.BathSets)
	for _, id := range like.Baths {
		bath := q.Baths[slices.IndexFunc(q.Baths, func(b Bath) bool { return b.ID == id })]
		bath.ID += extra
		q.Baths, more.Baths = append(q.Baths, bath), append(more.Baths, bath.ID)
	}
	q.BathSets = append(q.BathSets, more)
}

// addCapacity leaves so much more in each bath of a set, and a run.
func (r Remedy) addCapacity(q *Problem, roll *Roll) {
	q.Baths = slices.Clone(q.Baths)
	set := q.BathSets[slices.IndexFunc(q.BathSets, func(s BathSet) bool { return s.ID == r.Of })]
	kind := q.Reels[slices.IndexFunc(q.Reels, func(k ReelKind) bool { return k.Kind == roll.Reel })]
	for i := range q.Baths {
		b := &q.Baths[i]
		if !slices.Contains(set.Baths, b.ID) {
			continue
		}
		if b.AreaLeftMM2 != nil {
			b.AreaLeftMM2 = new(*b.AreaLeftMM2 + r.Count)
		}
		if b.RunsLeft != nil {
			b.RunsLeft = new(*b.RunsLeft + 1)
		}
		if b.OneShot {
			need := kind.SolutionML
			if b.RunMM2PerL != nil {
				need = max(need, (roll.AreaMM2*1000+*b.RunMM2PerL-1)/(*b.RunMM2PerL))
			}
			b.VolumeML += need
		}
	}
}

// mostVerified bounds for how many sorts of roll left out a change is verified.
const mostVerified = 12

// verified plans again with a change, from the plan as it stands: whether there is
// a plan that keeps every roll placed in its session and has the one roll in a
// session as well.
func (sr *search) verified(r *Remedy, roll, sess int) bool {
	m := sr.m
	q := r.Apply(m.p, &m.p.Rolls[roll])
	q.Rolls, q.Pins, q.Bans = nil, nil, nil
	at := make([]int, len(m.rolls)) // where each roll is now
	for i := range m.rolls {
		film := m.p.Rolls[i]
		switch b := sr.s.of[i]; {
		case i == roll && r.Kind == RemedySession:
			film.Booked = m.p.Sessions[sess].ID + extra
		case i == roll:
			film.Booked = m.p.Sessions[sess].ID
		case b == nil:
			continue
		default:
			film.Booked = m.p.Sessions[b.sess].ID
		}
		at[i] = len(q.Rolls)
		q.Rolls = append(q.Rolls, film)
	}
	if len(q.Validate()) > 0 {
		return false
	}
	again := newSearch(compile(q))
	again.expired = sr.expired
	for _, b := range sr.s.batches { // a change adds to what there is, at the end
		c := b.clone()
		for k, r := range c.rolls {
			c.rolls[k] = at[r]
		}
		again.s.load(c)
	}
	again.bd.insert(at[roll])
	again.accept()
	placed := func(w *worth) bool { return w[displaced] == 0 }
	again.run(fitsSteps, placed)
	return placed(&again.bestWorth)
}
