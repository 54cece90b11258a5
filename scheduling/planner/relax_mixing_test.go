package planner

import (
	"math/rand/v2"
	"slices"
	"testing"
)

// TestKitsAreMixedInSomePart splits goals by where a kit is mixed, on any day and in any
// of its sessions, and looks for the part that a plan of the problem is in: sessions
// that may use the kit do, the others do not, and runs have time beside the mixing.
func TestKitsAreMixedInSomePart(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(23, 23))
	inDay, other := 0, 0
	for round := range 2_500 {
		ma := someProgram(rng)
		if ma == nil {
			continue
		}
		rx := ma.rx
		p := rx.m.p
		if !slices.ContainsFunc(p.BathSets, func(s BathSet) bool { return s.Mix != nil && s.Mix.Takes > 0 }) {
			continue
		}
		p.Search.Iterations = 20
		plan, err := Solve(t.Context(), p, nil)
		if err != nil {
			t.Fatal(err)
		}
		for set := range rx.sets {
			mixed := slices.IndexFunc(plan.Batches, func(b Batch) bool { return b.Mixes && b.BathSet == p.BathSets[set].ID })
			if !rx.sets[set].kit || rx.m.sets[set].takes == 0 || mixed < 0 {
				continue
			}
			for d := range rx.clusters {
				mx := someMixing(rng, ma, set, d)
				if len(mx.in) == 0 {
					continue
				}
				parts := ma.mixings(&mx)
				at := slices.IndexFunc(parts, func(part func() *master) bool { return holds(part(), plan, set) })
				if at < 0 {
					t.Fatalf("round %d: the plan that mixes %s in %s is in no part of %+v", round, plan.Batches[mixed].BathSet, plan.Batches[mixed].Session, mx)
				}
				if at < len(mx.in) {
					inDay++
				} else {
					other++
				}
				for k, part := range parts[:len(mx.in)] {
					ends := func(i int) int64 { return min(rx.sess[i].length, ma.li.length[i]) }
					found := false
					for _, i := range mx.in {
						found = found || part().li.length[i] == ends(i)-rx.m.sets[set].takes
					}
					if !found {
						t.Fatalf("round %d: no session has less time in part %d", round, k)
					}
				}
			}
		}
	}
	if inDay < 10 || other < 20 {
		t.Errorf("%d plans mix on the day, %d on another", inDay, other)
	}
}

// someMixing is a kit that is used on a day by some of its sessions.
func someMixing(rng *rand.Rand, ma *master, set, day int) mixing {
	mx := mixing{set: set}
	for d, sessions := range ma.rx.clusters {
		for _, i := range sessions {
			switch {
			case !ma.offers(i, set):
			case d > day:
				mx.then = append(mx.then, i)
			case d == day && (len(mx.in) == 0 || rng.IntN(2) == 0):
				mx.in, mx.share = append(mx.in, i), append(mx.share, 1)
			default:
				mx.sooner = append(mx.sooner, i)
			}
		}
	}
	return mx
}

// holds says that a plan is in a part of a goal, as far as where its kit is mixed goes.
func holds(part *master, plan *Plan, set int) bool {
	rx := part.rx
	m := rx.m
	row := part.li.rows[len(part.li.rows)-1]
	runs := 0
	for i := range rx.sess {
		var used int64
		for _, b := range plan.Batches {
			if b.Session != m.p.Sessions[rx.sess[i].index].ID {
				continue
			}
			used += int64(b.Clear.Sub(b.Start).Seconds())
			if b.Mixes {
				used -= m.sets[slices.IndexFunc(m.p.BathSets, func(s BathSet) bool { return s.ID == b.BathSet })].takes
			}
			if b.BathSet == m.p.BathSets[set].ID {
				if !part.offers(i, set) {
					return false
				}
				if slices.Contains(row.sessions, i) {
					runs++
				}
			}
		}
		if used > min(rx.sess[i].length, part.li.length[i]) {
			return false
		}
	}
	return runs > 0
}
