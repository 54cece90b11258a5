package planner

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"wetside/lab/units"
)

// A Fault is what is wrong with one part of a problem, by RFC 6901 pointer.
type Fault struct {
	Pointer string `json:"pointer"`
	Detail  string `json:"detail"`
}

// InvalidError says that a problem cannot be planned, and all that is wrong
// with it.
type InvalidError struct{ Faults []Fault }

func (e *InvalidError) Error() string {
	if len(e.Faults) == 0 {
		return "planning problem is not valid"
	}
	text := fmt.Sprintf("planning problem is not valid: %s: %s", e.Faults[0].Pointer, e.Faults[0].Detail)
	if n := len(e.Faults) - 1; n > 0 {
		text += fmt.Sprintf(" (and %d more)", n)
	}
	return text
}

// The limits of a problem. They are far above any lab and low enough that no
// sum or product of the planner overflows.
const (
	maxParts    = 2_000          // of each kind but rolls
	MaxRolls    = 5_000          // most rolls in a problem, frozen batches' films apart
	maxLength   = 1_000_000      // mm
	maxVolume   = 10_000_000     // mL
	maxArea     = 10_000_000_000 // mm²
	maxCount    = 10_000
	maxRunArea  = 100_000_000_000 // mm² per litre
	maxPrice    = 1_000_000_000_000
	maxWaste    = 900_000_000
	maxWeight   = 1_000_000_000
	maxSpan     = 400 * units.Day
	maxDays     = 36_500
	maxSearch   = 100_000_000
	maxHorizon  = 400 * 24 * time.Hour
	maxDistance = 100 * 366 * 24 * time.Hour // of any instant from the horizon's start
)

// maxFaults is how many faults are told: who has that many mends a rule, not each.
const maxFaults = 100

// A validator gathers faults.
type validator struct {
	p      *Problem
	faults []Fault
	ix     indexes
}

// Validate gives what makes p unfit for planning, up to a hundred faults; none
// means that Solve takes it. Of a problem with too many rolls nothing else is
// said, of another list that is too long nothing of its parts.
func (p *Problem) Validate() []Fault {
	if n := len(p.Rolls); n > MaxRolls {
		return []Fault{{"/rolls", fmt.Sprintf("holds %d, want at most %d", n, MaxRolls)}}
	}
	v := &validator{p: p, ix: newIndexes(p)}
	v.search()
	v.equipment()
	v.sessions()
	v.chemistry()
	v.rolls()
	v.holds()
	v.frozen()
	return v.faults
}

func (v *validator) add(pointer, format string, args ...any) {
	if len(v.faults) < maxFaults {
		v.faults = append(v.faults, Fault{Pointer: pointer, Detail: fmt.Sprintf(format, args...)})
	}
}

// at makes a pointer of its parts, escaping as RFC 6901 wants.
func at(parts ...any) string {
	var b strings.Builder
	for _, part := range parts {
		b.WriteByte('/')
		switch x := part.(type) {
		case int:
			b.WriteString(strconv.Itoa(x))
		case string:
			b.WriteString(strings.NewReplacer("~", "~0", "/", "~1").Replace(x))
		}
	}
	return b.String()
}

func (v *validator) within(value, low, high int64, parts ...any) {
	if value < low || value > high {
		v.add(at(parts...), "is %d, want %d to %d", value, low, high)
	}
}

func (v *validator) span(d, low units.Duration, parts ...any) {
	if d < low || d > maxSpan {
		v.add(at(parts...), "is %s, want %s to %s", d, low, maxSpan)
	}
}

// instant refuses times so far off that differences would overflow.
func (v *validator) instant(t time.Time, parts ...any) {
	far := int64(maxDistance / time.Second)
	if d := t.Unix() - v.p.Horizon.Start.Unix(); d < -far || d > far {
		v.add(at(parts...), "is more than a hundred years from the horizon")
	}
}

func (v *validator) known(ix map[string]int, what, id string, parts ...any) bool {
	if _, ok := ix[id]; !ok {
		v.add(at(parts...), "no %s has the id %q", what, id)
		return false
	}
	return true
}

// ids refuses empty and repeated ids, and too many.
func (v *validator) ids(list, field string, n, most int, id func(int) string) {
	if n > most {
		v.add(at(list), "holds %d, want at most %d", n, most)
		return
	}
	first := make(map[string]int, n)
	for i := range n {
		name := id(i)
		if name == "" {
			v.add(at(list, i, field), "is empty")
			continue
		}
		if j, ok := first[name]; ok {
			v.add(at(list, i, field), "%q is also the id of %s", name, at(list, j))
			continue
		}
		first[name] = i
	}
}

func (v *validator) search() {
	p := v.p
	h := p.Horizon
	switch {
	case h.Start.Nanosecond() != 0 || h.End.Nanosecond() != 0:
		v.add("/horizon", "begins or ends within a second, want whole seconds")
	case !h.Start.Before(h.End):
		v.add("/horizon", "is empty: it ends when or before it starts")
	case h.End.Sub(h.Start) > maxHorizon:
		v.add("/horizon", "is longer than %d days", maxHorizon/(24*time.Hour))
	}
	if p.Search.Budget < 0 || p.Search.Budget > units.Day {
		v.add("/search/budget", "is %s, want PT0S to %s", p.Search.Budget, units.Day)
	}
	v.within(p.Search.Iterations, 0, maxSearch, "search", "iterations")
	v.within(int64(p.Search.UpTo), 0, int64(len(LevelNames)), "search", "up_to_level")
	v.within(p.TolerancePermille, 0, 1000, "developing_tolerance_permille")
	v.within(p.LeftOutDays, 0, maxDays, "left_out_days")
}

func (v *validator) equipment() {
	p := v.p
	v.ids("tanks", "id", len(p.Tanks), maxParts, func(i int) string { return p.Tanks[i].ID })
	for i, t := range p.Tanks {
		v.within(t.HeightMM, 1, maxLength, "tanks", i, "height_mm")
		v.within(t.VolumeML, 1, maxVolume, "tanks", i, "volume_ml")
		v.span(t.CleanUp, 0, "tanks", i, "clean_up")
		v.span(t.Flush, 0, "tanks", i, "flush")
		for j, kind := range t.Reels {
			v.known(v.ix.kinds, "reel kind", kind, "tanks", i, "reels", j)
		}
		for _, name := range sortedKeys(t.WarmUp) {
			v.span(t.WarmUp[name], 0, "tanks", i, "warm_up", name)
		}
	}
	v.ids("reels", "kind", len(p.Reels), maxParts, func(i int) string { return p.Reels[i].Kind })
	for i, r := range p.Reels {
		v.within(r.Count, 0, maxCount, "reels", i, "count")
		v.within(r.Holds, 0, maxCount, "reels", i, "holds")
		v.within(r.HeightMM, 1, maxLength, "reels", i, "height_mm")
		v.within(r.SolutionML, 0, maxVolume, "reels", i, "solution_ml")
		v.span(r.Loading, 0, "reels", i, "loading")
		v.span(r.Drying, 0, "reels", i, "drying")
	}
	v.ids("cabinets", "id", len(p.Cabinets), maxParts, func(i int) string { return p.Cabinets[i].ID })
	for i, c := range p.Cabinets {
		v.within(c.Positions, 0, maxCount, "cabinets", i, "positions")
		v.span(c.Drying, 0, "cabinets", i, "drying")
		for _, name := range sortedKeys(c.Takes) {
			v.within(c.Takes[name], 1, maxCount, "cabinets", i, "takes", name)
		}
	}
}

func sortedKeys[V any](m map[string]V) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}
