package planner_test

import (
	"math/rand/v2"
	"testing"

	"wetside/scheduling/planner"
	"wetside/scheduling/planner/checker"
)

func TestFits(t *testing.T) {
	t.Parallel()
	p := evening(4)
	p.Rolls[3].HandedIn = monday.AddDate(0, 0, 9) // not booked: does not count
	for i := range 3 {
		p.Rolls[i].Booked = "mon"
	}
	ok, plan, err := planner.Fits(t.Context(), p)
	if err != nil || !ok || len(plan.Batches) != 1 || len(plan.Batches[0].Rolls) != 3 {
		t.Errorf("three booked rolls: %v, %+v, %v", ok, plan, err)
	}
	ok, plan, err = planner.Fits(t.Context(), book(evening(5)))
	if err != nil || ok || !plan.Levels[0].Proved() || len(plan.LeftOut) != 1 || plan.LeftOut[0].Change == "" {
		t.Errorf("five rolls on four reels: %v, %+v, %v", ok, plan, err)
	}
	if _, _, err := planner.Fits(t.Context(), &planner.Problem{}); err == nil {
		t.Error("a problem without a horizon was planned")
	}
}

// TestFitsAgainstEnumeration books all rolls of tiny problems to the first
// session and compares the answer with enumeration.
func TestFitsAgainstEnumeration(t *testing.T) {
	t.Parallel()
	yes := 0
	for seed := range 400 {
		p := tiny(rand.New(rand.NewPCG(uint64(seed), 23)))
		p.Pins, p.Bans, p.Previous = nil, nil, nil
		book(p)
		ok, plan, err := planner.Fits(t.Context(), p)
		if err != nil {
			t.Fatal(err)
		}
		for _, v := range checker.Check(p, plan) {
			t.Fatalf("problem %d: rule %d: %s", seed, v.Rule, v.Detail)
		}
		if want := bestWorth(p)[0] == 0; ok != want {
			t.Errorf("problem %d: Fits says %v, enumeration %v", seed, ok, want)
		}
		if ok {
			yes++
		}
	}
	if yes < 40 || yes > 360 {
		t.Errorf("%d of 400 fit: the test no longer tells the two apart", yes)
	}
}

func BenchmarkFits(b *testing.B) {
	for name, n := range map[string]int{"fits": 8, "over": 9} {
		b.Run(name, func(b *testing.B) {
			p := evening(n)
			p.Reels[0].Count = 8
			book(p)
			for b.Loop() {
				if ok, _, err := planner.Fits(b.Context(), p); err != nil || ok != (n == 8) {
					b.Fatal(ok, err)
				}
			}
		})
	}
}
