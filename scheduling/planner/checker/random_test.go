package checker_test

import (
	"context"
	"encoding/json"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"wetside/scheduling/planner"
	"wetside/scheduling/planner/checker"
)

// solve plans a problem and holds that the plan keeps every rule.
func solve(t rapid.TB, p *planner.Problem) *planner.Plan {
	plan, err := planner.Solve(context.Background(), p, nil)
	if err != nil {
		t.Fatalf("%v\n%s", err, dump(p))
	}
	for _, v := range checker.Check(p, plan) {
		t.Errorf("%s", v)
	}
	if t.Failed() {
		t.Fatalf("problem %s\nplan %s", dump(p), dump(plan))
	}
	return plan
}

func dump(v any) []byte {
	b, err := json.Marshal(v)
	if err != nil {
		return []byte(err.Error())
	}
	return b
}

// What the search makes of any small problem keeps every rule; so does what it
// makes of the rest when its first batches then stand.
func TestPlansOfRandomProblemsKeepEveryRule(t *testing.T) {
	t.Parallel()
	placed, besides := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		p := randomProblem(rapidDice(t))
		plan := solve(t, p)
		if len(plan.Batches) == 0 {
			return
		}
		placed++
		rest := freeze(p, plan, rapid.SampledFrom(plan.Batches).Draw(t, "frozen").Start)
		if len(solve(t, rest).Batches) > 0 {
			besides++
		}
	})
	if (placed == 0 || besides == 0) && !testing.Short() { // which draws a few alone
		t.Errorf("%d problems had a batch, %d one besides frozen ones: too little was tried", placed, besides)
	}
}

// A spoiling changes a valid plan so that it cannot be one; false says that
// this plan has nothing to spoil so.
type spoiling struct {
	rule int // among those broken
	do   func(d dice, p *planner.Problem, plan *planner.Plan) bool
}

var spoilings = map[string]spoiling{
	"a start a second earlier": {6, func(d dice, _ *planner.Problem, plan *planner.Plan) bool {
		return spoil(d, plan, func(b *planner.Batch) bool { b.Start = b.Start.Add(-time.Second); return true })
	}},
	"a start a second later": {6, func(d dice, _ *planner.Problem, plan *planner.Plan) bool {
		return spoil(d, plan, func(b *planner.Batch) bool { b.Start = b.Start.Add(time.Second); return true })
	}},
	"a reel dropped": {2, func(d dice, _ *planner.Problem, plan *planner.Plan) bool {
		return spoil(d, plan, func(b *planner.Batch) bool {
			if b.Reels[0].Count--; b.Reels[0].Count == 0 {
				b.Reels = b.Reels[1:]
			}
			return true
		})
	}},
	"a reel more": {2, func(d dice, _ *planner.Problem, plan *planner.Plan) bool {
		return spoil(d, plan, func(b *planner.Batch) bool { b.Reels[0].Count++; return true })
	}},
	"a cabinet that dries in another time": {7, func(d dice, p *planner.Problem, plan *planner.Plan) bool {
		drying := func(id string) any {
			return find(p.Cabinets, func(c planner.Cabinet) string { return c.ID }, id).Drying
		}
		return spoil(d, plan, func(b *planner.Batch) bool {
			other := pick(d, p.Cabinets).ID
			was := b.Rolls[0].Cabinet
			b.Rolls[0].Cabinet = other
			return drying(was) != drying(other)
		})
	}},
	"a bath set of another process": {3, func(d dice, p *planner.Problem, plan *planner.Plan) bool {
		return spoil(d, plan, func(b *planner.Batch) bool {
			i := slices.IndexFunc(p.BathSets, func(s planner.BathSet) bool { return !slices.Contains(s.Processes, b.Process) })
			b.BathSet = p.BathSets[i].ID
			return true
		})
	}},
	"mixing or not, the other way": {4, func(d dice, _ *planner.Problem, plan *planner.Plan) bool {
		return spoil(d, plan, func(b *planner.Batch) bool { b.Mixes = !b.Mixes; return true })
	}},
	"a roll in two batches": {8, func(d dice, _ *planner.Problem, plan *planner.Plan) bool {
		if len(plan.Batches) < 2 {
			return false
		}
		plan.Batches[0].Rolls = append(plan.Batches[0].Rolls, plan.Batches[1].Rolls[0])
		return true
	}},
	"a roll moved to a batch that ends at another time": {7, func(_ dice, _ *planner.Problem, plan *planner.Plan) bool {
		if len(plan.Batches) < 2 || plan.Batches[0].End.Equal(plan.Batches[1].End) {
			return false
		}
		from, to := &plan.Batches[1], &plan.Batches[0]
		to.Rolls = append(to.Rolls, from.Rolls[0])
		from.Rolls = from.Rolls[1:]
		return true
	}},
	"a batch forgotten": {8, func(d dice, _ *planner.Problem, plan *planner.Plan) bool {
		if len(plan.Batches) == 0 {
			return false
		}
		plan.Batches = plan.Batches[1:]
		return true
	}},
	"a roll left out in silence": {8, func(d dice, _ *planner.Problem, plan *planner.Plan) bool {
		if len(plan.LeftOut) == 0 {
			return false
		}
		plan.LeftOut = plan.LeftOut[1:]
		return true
	}},
	"a roll left out and placed": {8, func(d dice, _ *planner.Problem, plan *planner.Plan) bool {
		return spoil(d, plan, func(b *planner.Batch) bool {
			plan.LeftOut = append(plan.LeftOut, leftOut(b.Rolls[0].Roll, planner.ReasonReels, ""))
			return true
		})
	}},
	"a value better by one": {9, func(d dice, _ *planner.Problem, plan *planner.Plan) bool {
		l := &plan.Levels[d.amount(0, 5)]
		l.Value--
		l.Bound = min(l.Bound, l.Value)
		return true
	}},
	"a bound above its value": {9, func(d dice, _ *planner.Problem, plan *planner.Plan) bool {
		l := &plan.Levels[d.amount(0, 5)]
		l.Bound = l.Value + 1
		return true
	}},
}

// spoil changes one of a plan's batches.
func spoil(d dice, plan *planner.Plan, do func(*planner.Batch) bool) bool {
	if len(plan.Batches) == 0 {
		return false
	}
	return do(&plan.Batches[d.amount(0, int64(len(plan.Batches)-1))])
}

func TestSpoiltPlansAreNeverAccepted(t *testing.T) {
	t.Parallel()
	for name, s := range spoilings {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			spoilt := 0
			rapid.Check(t, func(t *rapid.T) {
				d := rapidDice(t)
				p := randomProblem(d)
				p.Search.Iterations = 1
				plan := solve(t, p)
				if !s.do(d, p, plan) {
					return
				}
				spoilt++
				if got := rules(checker.Check(p, plan)); !slices.Contains(got, s.rule) {
					t.Errorf("rules %v broken, want %d among them\nproblem %s\nplan %s", got, s.rule, dump(p), dump(plan))
				}
			})
			if spoilt == 0 && !testing.Short() {
				t.Error("no plan was spoilt")
			}
		})
	}
}
