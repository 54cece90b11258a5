package main

import (
	"cmp"
	"fmt"
	"slices"
	"time"
)

// Figures are what a turn came to.
type figures struct {
	took  time.Duration
	times []time.Duration
	each  int // operations that one of the times is of
}

func (f figures) operations() int { return len(f.times) * f.each }

func (f figures) rate() float64 { return float64(f.operations()) / f.took.Seconds() }

// share is the time within which a part of them, in permille, were done.
func (f figures) share(permille int) time.Duration {
	if len(f.times) == 0 {
		return 0
	}
	sorted := slices.Sorted(slices.Values(f.times))
	return sorted[min(len(sorted)*permille/1000, len(sorted)-1)]
}

func (f figures) line(name string) string {
	ms := func(d time.Duration) string { return fmt.Sprintf("%.1f ms", float64(d.Microseconds())/1000) }
	return fmt.Sprintf("%-44s %10d %9.0f %9s %9s", name, f.operations(), f.rate(), ms(f.share(500)), ms(f.share(990)))
}

// middle is the turn of the middle rate; of an even number the slower of the two.
func middle(turns []figures) figures {
	slices.SortFunc(turns, func(a, b figures) int { return cmp.Compare(a.rate(), b.rate()) })
	return turns[(len(turns)-1)/2]
}
