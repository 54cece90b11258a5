package checker

import (
	"cmp"
	"slices"
	"time"
)

// A taking is how much a run holds of something over the half-open span
// [from, to).
type taking struct {
	run      *run
	from, to time.Time
	amount   int64
}

// holdsAt says whether t lies in [from, to).
func (k taking) holdsAt(t time.Time) bool { return !t.Before(k.from) && t.Before(k.to) }

// ordered sorts takings by beginning and drops those of no time.
func ordered(takings []taking) []taking {
	takings = slices.DeleteFunc(slices.Clone(takings), func(k taking) bool { return !k.from.Before(k.to) })
	slices.SortStableFunc(takings, func(a, b taking) int {
		return cmp.Or(a.from.Compare(b.from), cmp.Compare(a.run.ID, b.run.ID))
	})
	return takings
}

// overloads gives, for each instant at which something begins and more is held
// than limit, that instant and the total, in the name of the last of the
// plan's runs that holds some. What only frozen runs hold is not the plan's.
func overloads(takings []taking, limit int64) []taking {
	takings = ordered(takings)
	var out []taking
	for i, k := range takings {
		if i > 0 && takings[i-1].from.Equal(k.from) {
			continue
		}
		over := taking{from: k.from}
		for _, other := range takings {
			if !other.holdsAt(k.from) {
				continue
			}
			over.amount = add(over.amount, other.amount)
			if !other.run.frozen {
				over.run = other.run
			}
		}
		if over.amount > limit && over.run != nil {
			out = append(out, over)
		}
	}
	return out
}

// clashes gives the pairs of takings of different runs that overlap, at least
// one of them the plan's, each pair in order of beginning.
func clashes(takings []taking) [][2]taking {
	takings = ordered(takings)
	var out [][2]taking
	for i, a := range takings {
		for _, b := range takings[i+1:] {
			if a.run != b.run && !(a.run.frozen && b.run.frozen) && a.holdsAt(b.from) {
				out = append(out, [2]taking{a, b})
			}
		}
	}
	return out
}

// stamp writes an instant for a person.
func stamp(t time.Time) string { return t.Format(time.RFC3339) }
