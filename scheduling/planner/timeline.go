package planner

import "slices"

// The timelines of a partial plan. Each is a short unordered list of spans,
// owned by the batch that put them there (nil: frozen); a search for room
// returns how far to move on when there is none.

// A stay is a tank in the hands of one run.
type stay struct {
	span
	process int
	owner   *batch
}

// A busy is an operator or bath in the hands of one run.
type busy struct {
	span
	owner *batch
}

// A use is a number of reels or hanging positions taken for a span.
type use struct {
	span
	n     int64
	owner *batch
}

func overlap(a, b span) bool { return a.from < b.to && b.from < a.to }

// pastStays is how far a run of the process has to move on to be clear of the
// stay it meets, with the flush between unlike processes; 0 when it meets none.
func pastStays(stays []stay, want span, process int, flush int64) int64 {
	for i := range stays {
		gap := int64(0)
		if stays[i].process != process {
			gap = flush
		}
		if want.from < stays[i].to+gap && stays[i].from < want.to+gap {
			return stays[i].to + gap - want.from
		}
	}
	return 0
}

// pastBusy is how far want has to move on to be clear of the span it meets; 0
// when it meets none.
func pastBusy(spans []busy, want span) int64 {
	if want.from >= want.to {
		return 0
	}
	for i := range spans {
		if overlap(spans[i].span, want) {
			return spans[i].to - want.from
		}
	}
	return 0
}

// inAll is what is taken at some time of want: no less than its peak, and found sooner.
func inAll(uses []use, want span) (sum int64) {
	for i := range uses {
		if overlap(uses[i].span, want) {
			sum += uses[i].n
		}
	}
	return sum
}

// peak is the most taken at any time of want.
func peak(uses []use, want span) int64 {
	if want.from >= want.to {
		return 0
	}
	var few [16]use
	near := few[:0]
	var sum int64
	for i := range uses {
		if overlap(uses[i].span, want) {
			near = append(near, uses[i])
			sum += uses[i].n
		}
	}
	if len(near) < 2 {
		return sum
	}
	var most int64
	for i := range near {
		at, sum := max(near[i].from, want.from), int64(0)
		for j := range near {
			if near[j].from <= at && at < near[j].to {
				sum += near[j].n
			}
		}
		most = max(most, sum)
	}
	return most
}

// pastUses is how far want has to move on for the time at which fewer than
// need are free to be over; 0 when need are free throughout.
func pastUses(uses []use, want span, need, count int64) int64 {
	if want.from >= want.to {
		return 0
	}
	if need+inAll(uses, want) <= count { // enough even were all of them at one time
		return 0
	}
	var move int64
	for i := range uses {
		if !overlap(uses[i].span, want) {
			continue
		}
		at, sum, first := max(uses[i].from, want.from), int64(0), int64(never)
		for j := range uses {
			if uses[j].from <= at && at < uses[j].to {
				sum += uses[j].n
				first = min(first, uses[j].to)
			}
		}
		if sum+need > count {
			move = max(move, first-want.from)
		}
	}
	return move
}

// nextRelease is the first end of a use after at; never when there is none.
func nextRelease(uses []use, at int64) int64 {
	first := int64(never)
	for i := range uses {
		if uses[i].to > at {
			first = min(first, uses[i].to)
		}
	}
	return first
}

func dropStays(s []stay, b *batch) []stay {
	return slices.DeleteFunc(s, func(x stay) bool { return x.owner == b })
}

func dropBusy(s []busy, b *batch) []busy {
	return slices.DeleteFunc(s, func(x busy) bool { return x.owner == b })
}

func dropUses(s []use, b *batch) []use {
	return slices.DeleteFunc(s, func(x use) bool { return x.owner == b })
}
