package packing

import (
	"errors"
	"fmt"
)

// A Problem is items to be put into as few alike bins as can be. Sizes and
// capacities are whole numbers in the same dimensions, in any unit.
type Problem struct {
	// Capacity of a bin in each dimension; at least one dimension.
	Capacity []int64
	Items    []Item
}

// An Item stands for Count alike things.
type Item struct {
	// Size in each dimension, none negative, none above the capacity.
	Size  []int64
	Count int
}

// A Bin is what Times alike bins hold.
type Bin struct {
	Parts []Part
	Times int
}

// A Part is Count things of Items[Item].
type Part struct{ Item, Count int }

// A Result is a packing and how good it is. Bins ≥ Bound always; they are equal
// when the packing is proved.
type Result struct {
	Packing []Bin
	// Bins is how many bins the packing takes.
	Bins int
	// Bound is a number of bins that no packing can do without. It follows from
	// whole-number arithmetic alone.
	Bound int
	// Complete says that the search ended by itself or by Limits, not by ctx.
	Complete bool
	// Work is what was done, in the units of Limits.Work.
	Work int64
	// Effort says which steps it took.
	Effort Effort
}

// Proved says that no packing takes fewer bins.
func (r *Result) Proved() bool { return r.Bins == r.Bound }

// Effort counts what a search did.
type Effort struct {
	// Columns generated for the relaxation, Pivots of its simplex method.
	Columns, Pivots int64
	// Dives are the relaxation rounded step by step.
	Dives int64
	// Patterns enumerated, Nodes and Cuts of the search among them.
	Patterns, Nodes, Cuts int64
}

// Limits end a search. They count work, so that the same problem ends alike on
// every machine; ctx is for the impatient.
type Limits struct {
	// Work is the most elementary steps, about 500 million a second on one
	// core of 2024; 0 stands for defaultWork.
	Work int64
}

// defaultWork is about a minute.
const defaultWork = 30_000_000_000

// Bounds on what is solved: sums of values stay within 64 bits.
const (
	mostThings    = 100_000
	mostCapacity  = 1 << 40
	mostDimension = 64
)

// Errors of problems that are none.
var (
	ErrNoDimension = errors.New("packing: a bin has no dimension, or too many")
	ErrTooMany     = errors.New("packing: more than 100,000 things")
)

// check says what is wrong with a problem.
func (p *Problem) check() error {
	if len(p.Capacity) == 0 || len(p.Capacity) > mostDimension {
		return ErrNoDimension
	}
	for d, c := range p.Capacity {
		if c < 0 || c > mostCapacity {
			return fmt.Errorf("packing: capacity %d in dimension %d, want 0 to 2^40", c, d)
		}
	}
	things := 0
	for i := range p.Items {
		it := &p.Items[i]
		if len(it.Size) != len(p.Capacity) {
			return fmt.Errorf("packing: item %d has %d dimensions, the bin %d", i, len(it.Size), len(p.Capacity))
		}
		if it.Count < 0 || it.Count > mostThings {
			return fmt.Errorf("packing: item %d is there %d times", i, it.Count)
		}
		if things += it.Count; things > mostThings {
			return ErrTooMany
		}
		for d, s := range it.Size {
			if s < 0 || s > p.Capacity[d] && it.Count > 0 {
				return fmt.Errorf("packing: item %d of size %d does not fit capacity %d in dimension %d", i, s, p.Capacity[d], d)
			}
		}
	}
	return nil
}
