package checker

import (
	"slices"
	"time"

	"wetside/scheduling/planner"
)

// defaultLeftOutDays is what Problem.LeftOutDays = 0 stands for.
const defaultLeftOutDays = 14

// checkWorth is rule 9: six levels named in order, each bound no more than its
// value, and, when the plan's shape is sound, each value what it comes to.
func (j *judge) checkWorth(sound bool) {
	levels := j.plan.Levels
	if len(levels) != len(planner.LevelNames) {
		j.add(ruleWorth, "", "", "%d levels are given, there are %d", len(levels), len(planner.LevelNames))
		return
	}
	values := [...]func() int64{j.displaced, j.lateness, j.chemistry, j.runCount, j.finish, j.changes}
	for i, level := range levels {
		if level.Name != planner.LevelNames[i] || level.Unit != planner.LevelUnits[i] {
			j.add(ruleWorth, "", "", "level %d is %q in %q and should be %s in %s",
				i+1, level.Name, level.Unit, planner.LevelNames[i], planner.LevelUnits[i])
		}
		if level.Bound > level.Value {
			j.add(ruleWorth, "", "", "level %s: bound %d is above the value %d", level.Name, level.Bound, level.Value)
		}
		if !sound {
			continue
		}
		if value := values[i](); level.Value != value {
			j.add(ruleWorth, "", "", "level %s: value %d is claimed, it is %d", level.Name, level.Value, value)
		}
	}
}

// sessionOf is the session a roll is placed in; empty when it is in none.
func (j *judge) sessionOf(roll string) string {
	for _, b := range j.plan.Batches {
		for _, pl := range b.Rolls {
			if pl.Roll == roll {
				return b.Session
			}
		}
	}
	return ""
}

// displaced counts the booked or pinned rolls left out.
func (j *judge) displaced() (n int64) {
	for _, roll := range j.problem.Rolls {
		pinned := slices.ContainsFunc(j.problem.Pins, func(h planner.Hold) bool { return h.Roll == roll.ID })
		if (roll.Booked != "" || pinned) && j.sessionOf(roll.ID) == "" {
			n++
		}
	}
	return n
}

// lateness is in weighted days.
func (j *judge) lateness() (total int64) {
	leftOutDays := j.problem.LeftOutDays
	if leftOutDays == 0 {
		leftOutDays = defaultLeftOutDays
	}
	for _, roll := range j.problem.Rolls {
		weight := max(roll.Weight, 1)
		if j.sessionOf(roll.ID) == "" {
			days := add(leftOutDays, daysLate(j.problem.Horizon.End, roll.Due))
			total = add(total, mul(weight, days))
		}
	}
	for _, r := range j.runs {
		if r.frozen {
			continue
		}
		for _, film := range r.films {
			late := daysLate(j.dryAt(r, r.placement(film.ID)), film.Due)
			total = add(total, mul(max(film.Weight, 1), late))
		}
	}
	return total
}

// daysLate is by how many days t lies after due, rounded up; 0 when it does
// not, or when nothing is due.
func daysLate(t time.Time, due *time.Time) int64 {
	if due == nil || !t.After(*due) {
		return 0
	}
	return ceilDiv(int64(t.Sub(*due)), int64(24*time.Hour))
}

// chemistry is the price of the kits that the plan mixes and of what expires
// unused, in minor units.
func (j *judge) chemistry() (total int64) {
	for _, r := range j.runs {
		if !r.frozen && r.Mixes && r.set.Mix != nil {
			total = add(total, r.set.Mix.PriceMinor)
		}
	}
	for i := range j.problem.BathSets {
		if set := &j.problem.BathSets[i]; set.Mix == nil && j.expires(set) {
			total = add(total, mul(j.unused(set), set.WasteMinorPerM2)/1_000_000)
		}
	}
	return total
}

// expires says whether a bath of the set dies by the horizon's end.
func (j *judge) expires(set *planner.BathSet) bool {
	return slices.ContainsFunc(set.Baths, func(id string) bool {
		at := get(j.baths, id).ExpiresAt
		return at != nil && !at.After(j.problem.Horizon.End)
	})
}

// unused is the area left in a set after all runs, the least over its baths,
// in mm²; 0 when no bath has a limit.
func (j *judge) unused(set *planner.BathSet) int64 {
	least := int64(-1)
	for _, id := range set.Baths {
		limit := get(j.baths, id).AreaLeftMM2
		if limit == nil {
			continue
		}
		var used int64
		for _, r := range j.runs {
			if slices.Contains(r.set.Baths, id) {
				used = add(used, r.area())
			}
		}
		if left := max(*limit-used, 0); least < 0 || left < least {
			least = left
		}
	}
	return max(least, 0)
}

func (j *judge) runCount() int64 { return int64(len(j.plan.Batches)) }

// finish is when the last film is dry, in seconds of the horizon.
func (j *judge) finish() (last int64) {
	for _, r := range j.runs {
		if r.frozen {
			continue
		}
		for _, pl := range r.Rolls {
			last = max(last, int64(j.dryAt(r, pl).Sub(j.problem.Horizon.Start)/time.Second))
		}
	}
	return last
}

// changes counts the problem's rolls that the plan before had in another
// session, or in one when they are now in none.
func (j *judge) changes() (n int64) {
	for _, was := range j.problem.Previous {
		if j.rolls[was.Roll] != nil && j.sessionOf(was.Roll) != was.Session {
			n++
		}
	}
	return n
}
