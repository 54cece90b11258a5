package checker_test

import (
	"slices"
	"time"

	"wetside/lab/units"
	"wetside/scheduling/planner"
)

// A limit draws the line through a problem just where a plan for it stands.
// It gives a function that sets the limit to what the plan needs, plus slack:
// with 0 the plan still is one, with −1 it breaks the rule. It gives nil when
// the plan needs nothing of the kind.
type limit struct {
	rule int
	// sole says that nothing else hangs on the figure, so that with slack 0 the
	// plan keeps every rule but for what it is worth.
	sole bool
	at   func(d dice, p *planner.Problem, plan *planner.Plan) func(slack int64)
}

var limits = map[string]limit{
	"tolerance": {1, true, func(_ dice, p *planner.Problem, plan *planner.Plan) func(int64) {
		var most int64
		for _, b := range plan.Batches {
			long := p.Classes[classAt(p, b.Class)].Developing
			for _, pl := range b.Rolls {
				short := p.Classes[classAt(p, p.Rolls[rollAt(p, pl.Roll)].Class)].Developing
				most = max(most, (int64(long-short)*1000+int64(short)-1)/int64(short))
			}
		}
		if most == 0 {
			return nil
		}
		return func(slack int64) { p.TolerancePermille = most + slack }
	}},
	"tank height": {2, true, func(d dice, p *planner.Problem, plan *planner.Plan) func(int64) {
		tank := &p.Tanks[tankAt(p, pick(d, plan.Batches).Tank)]
		var most int64
		for _, b := range plan.Batches {
			if b.Tank == tank.ID {
				most = max(most, stack(p, b, func(k planner.ReelKind) int64 { return k.HeightMM }))
			}
		}
		return func(slack int64) { tank.HeightMM = most + slack }
	}},
	"tank volume": {2, false, func(d dice, p *planner.Problem, plan *planner.Plan) func(int64) {
		b := pick(d, plan.Batches)
		return func(slack int64) { p.Tanks[tankAt(p, b.Tank)].VolumeML = needed(p, b) + slack }
	}},
	"bath volume": {2, false, func(d dice, p *planner.Problem, plan *planner.Plan) func(int64) {
		b := pick(d, plan.Batches)
		bath := bathOf(d, p, b)
		return func(slack int64) { bath.VolumeML = needed(p, b) + slack }
	}},
	"film in a run": {3, false, func(d dice, p *planner.Problem, plan *planner.Plan) func(int64) {
		b := pick(d, plan.Batches)
		bath := bathOf(d, p, b)
		volume := min(bath.VolumeML, p.Tanks[tankAt(p, b.Tank)].VolumeML)
		return func(slack int64) { bath.RunMM2PerL = ptr((film(p, b)*1000+volume-1)/volume + slack) }
	}},
	"area left": {3, true, func(d dice, p *planner.Problem, plan *planner.Plan) func(int64) {
		bath := bathOf(d, p, pick(d, plan.Batches))
		var sum int64
		for _, b := range in(p, plan, bath) {
			sum += film(p, b)
		}
		return func(slack int64) { bath.AreaLeftMM2 = ptr(sum + slack) }
	}},
	"runs left": {3, true, func(d dice, p *planner.Problem, plan *planner.Plan) func(int64) {
		bath := bathOf(d, p, pick(d, plan.Batches))
		return func(slack int64) { bath.RunsLeft = ptr(int64(len(in(p, plan, bath))) + slack) }
	}},
	"one-shot bath's volume": {3, false, func(d dice, p *planner.Problem, plan *planner.Plan) func(int64) {
		bath := bathOf(d, p, pick(d, plan.Batches))
		if !bath.OneShot {
			return nil
		}
		var sum int64
		for _, b := range in(p, plan, bath) {
			draw := needed(p, b)
			if bath.RunMM2PerL != nil {
				draw = max(draw, (film(p, b)*1000+*bath.RunMM2PerL-1)/(*bath.RunMM2PerL))
			}
			sum += draw
		}
		return func(slack int64) { bath.VolumeML = sum + slack }
	}},
	"bath's expiry": {4, true, func(d dice, p *planner.Problem, plan *planner.Plan) func(int64) {
		bath := bathOf(d, p, pick(d, plan.Batches))
		var last time.Time
		for _, b := range in(p, plan, bath) {
			if at, ok := stepIn(p, b, bath); ok && at.After(last) {
				last = at
			}
		}
		if last.IsZero() {
			return nil
		}
		return func(slack int64) { bath.ExpiresAt = ptr(later(last, slack)) }
	}},
	"kit's life": {4, true, func(d dice, p *planner.Problem, plan *planner.Plan) func(int64) {
		b := pick(d, plan.Batches)
		set, mixed := mixing(p, plan, b)
		if set == nil {
			return nil
		}
		bath := bathOf(d, p, b)
		for i := range p.BathSets { // a life begins in one set alone
			if s := &p.BathSets[i]; s.ID != set.ID && slices.Contains(s.Baths, bath.ID) {
				return nil
			}
		}
		var most units.Duration = -1
		for _, user := range in(p, plan, bath) {
			if at, ok := stepIn(p, user, bath); ok {
				most = max(most, units.Duration(at.Sub(mixed)/time.Second))
			}
		}
		if most < 0 {
			return nil
		}
		return func(slack int64) { bath.Life = ptr(most + units.Duration(slack)) }
	}},
	"kit's shelf life": {4, true, func(d dice, p *planner.Problem, plan *planner.Plan) func(int64) {
		set, _ := mixing(p, plan, pick(d, plan.Batches))
		if set == nil {
			return nil
		}
		i := slices.IndexFunc(plan.Batches, func(b planner.Batch) bool { return b.BathSet == set.ID && b.Mixes })
		return func(slack int64) { set.Mix.By = ptr(later(plan.Batches[i].Start, slack)) }
	}},
	"reels": {5, true, func(d dice, p *planner.Problem, plan *planner.Plan) func(int64) {
		kind := &p.Reels[reelAt(p, pick(d, plan.Batches).Reels[0].Kind)]
		most := peak(plan, func(b planner.Batch) (from, to time.Time, n int64) {
			from = b.Start
			if b.Mixes {
				from = later(from, int64(p.BathSets[setAt(p, b.BathSet)].Mix.Takes))
			}
			for _, u := range b.Reels {
				if u.Kind == kind.Kind {
					n = u.Count
				}
			}
			return from, later(b.End, int64(kind.Drying)), n
		})
		return func(slack int64) { kind.Count = most + slack }
	}},
	"session's beginning": {6, true, func(d dice, p *planner.Problem, plan *planner.Plan) func(int64) {
		s := &p.Sessions[sessionAt(p, pick(d, plan.Batches).Session)]
		first := s.End
		for _, b := range plan.Batches {
			if b.Session == s.ID && b.Start.Before(first) {
				first = b.Start
			}
		}
		return func(slack int64) { s.Start = later(first, -slack) }
	}},
	"session's end": {6, true, func(d dice, p *planner.Problem, plan *planner.Plan) func(int64) {
		s := &p.Sessions[sessionAt(p, pick(d, plan.Batches).Session)]
		last := s.Start
		for _, b := range plan.Batches {
			if b.Session == s.ID && b.Clear.After(last) {
				last = b.Clear
			}
		}
		return func(slack int64) { s.End = later(last, slack) }
	}},
	"horizon's end": {6, true, func(_ dice, p *planner.Problem, plan *planner.Plan) func(int64) {
		last := p.Horizon.Start
		for _, b := range plan.Batches {
			if b.Clear.After(last) {
				last = b.Clear
			}
		}
		return func(slack int64) { p.Horizon.End = later(last, slack) }
	}},
	"flush": {6, true, func(d dice, p *planner.Problem, plan *planner.Plan) func(int64) {
		tank := &p.Tanks[tankAt(p, pick(d, plan.Batches).Tank)]
		least := units.Duration(-1)
		for _, a := range plan.Batches {
			for _, b := range plan.Batches {
				if a.Tank == tank.ID && b.Tank == tank.ID && a.Process != b.Process && b.Start.After(a.Start) {
					if gap := units.Duration(b.Start.Sub(a.Clear) / time.Second); least < 0 || gap < least {
						least = gap
					}
				}
			}
		}
		if least < 0 {
			return nil
		}
		return func(slack int64) { tank.Flush = least - units.Duration(slack) }
	}},
	"clean-up": {6, false, func(d dice, p *planner.Problem, plan *planner.Plan) func(int64) {
		tank := &p.Tanks[tankAt(p, pick(d, plan.Batches).Tank)]
		was := tank.CleanUp
		return func(slack int64) { tank.CleanUp = was - units.Duration(slack) }
	}},
	"hanging positions": {7, true, func(d dice, p *planner.Problem, plan *planner.Plan) func(int64) {
		c := &p.Cabinets[cabinetAt(p, pick(d, plan.Batches).Rolls[0].Cabinet)]
		most := peak(plan, func(b planner.Batch) (from, to time.Time, n int64) {
			for _, pl := range b.Rolls {
				if pl.Cabinet == c.ID {
					n += c.Takes[p.Rolls[rollAt(p, pl.Roll)].Hang]
				}
			}
			return b.End, later(b.End, int64(c.Drying)), n
		})
		return func(slack int64) { c.Positions = most + slack }
	}},
	"hand-in": {8, true, func(d dice, p *planner.Problem, plan *planner.Plan) func(int64) {
		b := pick(d, plan.Batches)
		r := &p.Rolls[rollAt(p, pick(d, b.Rolls).Roll)]
		return func(slack int64) { r.HandedIn = later(b.Start, -slack) }
	}},
}

func later(t time.Time, seconds int64) time.Time { return t.Add(time.Duration(seconds) * time.Second) }

func atID[T any](list []T, id func(T) string, want string) int {
	return slices.IndexFunc(list, func(v T) bool { return id(v) == want })
}

func tankAt(p *planner.Problem, id string) int {
	return atID(p.Tanks, func(v planner.Tank) string { return v.ID }, id)
}

func reelAt(p *planner.Problem, id string) int {
	return atID(p.Reels, func(v planner.ReelKind) string { return v.Kind }, id)
}

func cabinetAt(p *planner.Problem, id string) int {
	return atID(p.Cabinets, func(v planner.Cabinet) string { return v.ID }, id)
}

func sessionAt(p *planner.Problem, id string) int {
	return atID(p.Sessions, func(v planner.Session) string { return v.ID }, id)
}

func classAt(p *planner.Problem, id string) int {
	return atID(p.Classes, func(v planner.Class) string { return v.ID }, id)
}

func setAt(p *planner.Problem, id string) int {
	return atID(p.BathSets, func(v planner.BathSet) string { return v.ID }, id)
}

func rollAt(p *planner.Problem, id string) int {
	return atID(p.Rolls, func(v planner.Roll) string { return v.ID }, id)
}

// stack adds up a figure of a batch's reels.
func stack(p *planner.Problem, b planner.Batch, of func(planner.ReelKind) int64) (sum int64) {
	for _, u := range b.Reels {
		sum += u.Count * of(p.Reels[reelAt(p, u.Kind)])
	}
	return sum
}

func needed(p *planner.Problem, b planner.Batch) int64 {
	return stack(p, b, func(k planner.ReelKind) int64 { return k.SolutionML })
}

// film is the area in a batch.
func film(p *planner.Problem, b planner.Batch) (sum int64) {
	for _, pl := range b.Rolls {
		sum += p.Rolls[rollAt(p, pl.Roll)].AreaMM2
	}
	return sum
}

// bathOf is one of a batch's baths.
func bathOf(d dice, p *planner.Problem, b planner.Batch) *planner.Bath {
	id := pick(d, p.BathSets[setAt(p, b.BathSet)].Baths)
	return &p.Baths[atID(p.Baths, func(v planner.Bath) string { return v.ID }, id)]
}

// in are the batches that a bath is in.
func in(p *planner.Problem, plan *planner.Plan, bath *planner.Bath) []planner.Batch {
	return slices.DeleteFunc(slices.Clone(plan.Batches), func(b planner.Batch) bool {
		return !slices.Contains(p.BathSets[setAt(p, b.BathSet)].Baths, bath.ID)
	})
}

// stepIn is when the last step of a batch in that bath begins.
func stepIn(p *planner.Problem, b planner.Batch, bath *planner.Bath) (at time.Time, ok bool) {
	for _, s := range p.Classes[classAt(p, b.Class)].Steps {
		if t := later(b.Wet, int64(s.Begins)); s.Role == bath.Role && !t.Before(at) {
			at, ok = t, true
		}
	}
	return at, ok
}

// mixing is the set of a batch, where that is a kit, and when it is mixed.
func mixing(p *planner.Problem, plan *planner.Plan, of planner.Batch) (set *planner.BathSet, mixed time.Time) {
	for _, b := range plan.Batches {
		if b.BathSet == of.BathSet && b.Mixes {
			set = &p.BathSets[setAt(p, b.BathSet)]
			return set, later(b.Start, int64(set.Mix.Takes))
		}
	}
	return nil, time.Time{}
}

// peak is the most held at any instant at which a batch begins to hold some.
func peak(plan *planner.Plan, held func(planner.Batch) (from, to time.Time, n int64)) (most int64) {
	for _, a := range plan.Batches {
		at, _, _ := held(a)
		var sum int64
		for _, b := range plan.Batches {
			if from, to, n := held(b); !from.After(at) && at.Before(to) {
				sum += n
			}
		}
		most = max(most, sum)
	}
	return most
}
