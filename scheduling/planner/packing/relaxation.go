package packing

import "slices"

// A relaxation is the set-covering relaxation of Gilmore and Gomory (1961) and
// its dual: each thing has a value, such that no pattern is worth more than
// unit; so no packing has fewer than sum/unit bins.
//
// Below a branching it covers the same things by fewer patterns: those of its
// view, an instance whose types are made of its own.
type relaxation struct {
	in   *instance
	view rest
	k    *knapsack // of the view
	prog *program
	pats []pattern // by column, of in's types; nil for what is none

	value []int64 // the best dual, in whole numbers
	unit  int64   // at least what any pattern is worth by it
	sum   int64   // what all things are worth by it
	cost  float64 // of the primal
}

// bound is the least number of bins by the best dual.
func (r *relaxation) bound() int { return ceilDiv(r.sum, r.unit) }

func (r *relaxation) lower() float64 { return float64(r.sum) / float64(r.unit) }

func ceilDiv(a, b int64) int {
	q := a / b
	if a%b > 0 {
		q++
	}
	return int(q)
}

// shift is about how much demand is disturbed so that the simplex method does
// not stall where many bases are equal.
const shift = 1e-7

func newRelaxation(in *instance, mt *meter) *relaxation {
	n := len(in.size)
	r := &relaxation{in: in, view: in.without(in.demand), prog: newProgram(n, mt), value: make([]int64, n), unit: one}
	r.k = newKnapsack(r.view.in, mt)
	for t := range n {
		r.prog.unit(t, -1, 0)
		r.pats = append(r.pats, nil)
	}
	units := make([]int, n)
	for t := range n {
		units[t] = r.add(pattern{{int32(t), 1}})
		r.prog.rhs[t] = float64(in.demand[t]) + shift*(1+float64(t*61%97)/97)
	}
	r.prog.begin(units)
	return r
}

func (r *relaxation) add(pat pattern) int {
	for _, e := range pat {
		r.prog.row, r.prog.val = append(r.prog.row, e.typ), append(r.prog.val, e.count)
	}
	r.pats = append(r.pats, slices.Clone(pat))
	return r.prog.add(1)
}

// How much of its weight a trial dual has from the best one so far (Wentges
// 1997), how near bound and cost come, and where looking for a column stops
// being thorough at first.
const (
	smooth    = 0.6
	nearness  = 2e-6
	fewSteps  = 20_000
	manySteps = 1 << 40
)

// solve generates columns until bound and cost meet. It stops early once the
// bound is known to reach enough, or, if rough, once bound and cost round up to
// the same. It says false when work was over before.
func (r *relaxation) solve(enough int, rough bool) bool {
	n := len(r.value)
	centre := make([]float64, n)
	whole := make([]int64, n)
	centred := false
	r.sum = 0
	for {
		if !r.prog.solve() {
			return false
		}
		r.cost = r.prog.value()
		added := 0
		for straight := !centred; added == 0; straight = true {
			for t, y := range r.prog.y {
				y = max(y, 0)
				if !straight {
					y = smooth*centre[t] + (1-smooth)*y
				}
				whole[t] = int64(y * float64(one))
			}
			var unit, sum int64
			unit, sum, added = r.price(whole)
			if r.k.mt.over() {
				return false
			}
			if sum > 0 && (r.sum == 0 || float64(sum)/float64(unit) > r.lower()) {
				copy(r.value, whole)
				r.unit, r.sum = unit, sum
				for t := range centre {
					centre[t] = float64(whole[t]) / float64(unit)
				}
				centred = true
			}
			if r.sum > 0 && (r.bound() >= enough || r.cost-r.lower() < nearness || rough && float64(r.bound()) >= r.cost-1e-6) || added == 0 && straight {
				return true
			}
		}
	}
}

// price looks for columns worth more than a bin by the given values, and adds
// those that are by the program's own too. It gives the most that a pattern is
// worth, at least one, and what all things are worth; sum is 0 when the former
// is not known.
func (r *relaxation) price(whole []int64) (unit, sum int64, added int) {
	for t, v := range whole {
		sum += v * int64(r.in.demand[t])
	}
	r.k.price(r.view.worth(whole))
	unit = one
	look := func(steps int) (all bool) {
		all = true
		for t := range r.k.value {
			left := steps
			pat, v := r.k.bestOf(t, one, &left)
			all = all && left > 0
			unit = max(unit, v)
			if len(pat) > 0 {
				if out := r.view.outside(pat); r.improves(out) {
					r.add(out)
					added++
				}
			}
			if !r.k.mt.spend(int64(steps-left) * 4) {
				return false
			}
		}
		return all
	}
	all := look(fewSteps)
	if !all && added == 0 {
		all = look(manySteps)
	}
	r.k.mt.effort.Columns += int64(added)
	if !all {
		return one, 0, added
	}
	return unit, sum, added
}

func (r *relaxation) improves(pat pattern) bool {
	worth := 0.0
	for _, e := range pat {
		worth += r.prog.y[e.typ] * float64(e.count)
	}
	return worth > 1+epsCost
}

// pool enumerates the patterns of the view that a packing of target bins can
// have: one that is worth less than unit by more than target·unit − sum cannot
// be among them. It says whether these are all.
func (r *relaxation) pool(target, most int) ([]pattern, bool) {
	var pool []pattern
	r.k.price(r.view.worth(r.value))
	all := r.k.enumerate(r.unit-(int64(target)*r.unit-r.sum), func(pat pattern, _ int64) bool {
		pool = append(pool, slices.Clone(pat))
		return len(pool) < most
	})
	r.k.mt.effort.Patterns += int64(len(pool))
	return pool, all
}

// A portion is a pattern and how often the relaxation takes it.
type portion struct {
	pat   pattern
	times float64
}

// portions are the patterns that the relaxation takes, most often first.
func (r *relaxation) portions() []portion {
	var out []portion
	for i, j := range r.prog.basis {
		if r.pats[j] != nil && r.prog.x[i] > 1e-5 {
			out = append(out, portion{r.pats[j], r.prog.x[i]})
		}
	}
	sortPortions(out)
	return out
}
