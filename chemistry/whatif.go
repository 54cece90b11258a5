package chemistry

import (
	"sort"
	"time"

	"wetside/lab/units"
)

// MoreRolls is how many more rolls of one kind a bath takes at now, each of
// areaMM2 and with solutionML to cover it, and which limit ends it; bounded is
// false if none does but life. Rolls may share runs: where the kit does not
// say what one run carries, runs that are left bound nothing.
func (d BathDefinition) MoreRolls(w Wear, areaMM2, solutionML int64, now time.Time) (n int64, binds Limit, bounded bool) {
	left := d.Left(w, now)
	if left.State != Good {
		return 0, left.BindsFirst, true
	}
	n, binds = 1<<62, LimitLife
	least := func(limit Limit, rolls int64) {
		if rolls < n {
			n, binds, bounded = rolls, limit, true
		}
	}
	if left.AreaMM2 != nil {
		least(LimitArea, *left.AreaMM2/areaMM2)
	}
	if left.Runs != nil && d.RunMM2PerL != nil {
		least(LimitRuns, *left.Runs*(scaled(*d.RunMM2PerL, d.VolumeML, 1000)/areaMM2))
	}
	if d.Use == OneShot {
		if draw := d.Draw(Load{AreaMM2: areaMM2, SolutionML: solutionML}); draw > 0 {
			least(LimitVolume, w.VolumeLeftML/draw)
		}
	}
	if !bounded {
		return 0, LimitLife, false
	}
	return n, binds, true
}

// A TimeLimit is when use lengthens a step past its longest.
type TimeLimit struct {
	Step string `json:"step"`
	// Fresh is the step's time in a fresh bath, Now in this one, Longest the most.
	Fresh   units.Duration `json:"fresh"`
	Now     units.Duration `json:"now"`
	Longest units.Duration `json:"longest"`
	// MoreMM2 is the film that the bath may yet see until a run's time would
	// be past Longest; absent if that is never, before the bath is used up.
	MoreMM2 *int64 `json:"more_mm2,omitempty"`
	// PassesAt is when that is, at the booked pace.
	PassesAt *time.Time `json:"passes_at,omitempty"`
}

// TimeLimit looks at a step in a bath that has seen usedMM2; nil if the step
// has no longest time or the bath no table.
func (d BathDefinition) TimeLimit(s Step, usedMM2 int64) *TimeLimit {
	if s.Longest == 0 || s.Time == 0 || len(d.table()) == 0 {
		return nil
	}
	timeAt := func(used int64) units.Duration {
		f, _, err := d.Factor(used)
		if err != nil {
			return s.Longest + 1
		}
		return Corrected(s.Time, f)
	}
	t := &TimeLimit{Step: s.Name, Fresh: s.Time, Now: timeAt(usedMM2), Longest: s.Longest}
	capacity, _ := d.Capacity()
	// The time never falls with use, so the first use past Longest is found by halving.
	rest := max(capacity-usedMM2, 0)
	more := int64(sort.Search(int(rest)+1, func(more int) bool { return timeAt(usedMM2+int64(more)) > s.Longest }))
	if more <= rest {
		t.MoreMM2 = &more
	}
	return t
}
