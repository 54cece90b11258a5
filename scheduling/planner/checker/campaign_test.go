package checker_test

import (
	"bytes"
	"encoding/json"
	"flag"
	"slices"
	"sync"
	"sync/atomic"
	"testing"

	"wetside/scheduling/planner"
	"wetside/scheduling/planner/checker"
)

// By default the campaign is short enough for every run of the tests;
// -checker.problems=10000 is the whole of it.
var campaign = flag.Int("checker.problems", 1_000, "how many random problems TestChecker plans and checks")

// A tally counts what a campaign tried.
type tally struct {
	problems, plans, batches, rolls, leftOut, frozen atomic.Int64
	broken, kept, caught, missed                     atomic.Int64

	mu     sync.Mutex
	byKind map[string]int
}

func (c *tally) count(kind string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.byKind[kind]++
}

// TestChecker plans random problems and has the checker judge what comes of
// them, some with the plan's first batches frozen. Each plan is then spoilt,
// and each limit it touches drawn in: to just what it needs, when it still is a
// plan, and to one less (one millimetre, one second, one run), when it is not.
func TestChecker(t *testing.T) {
	t.Parallel()
	c := &tally{byKind: map[string]int{}}
	const workers = 4
	var wg sync.WaitGroup
	for w := range workers {
		wg.Go(func() {
			for seed := w; seed < *campaign && !t.Failed(); seed += workers {
				c.problem(t, uint64(seed))
			}
		})
	}
	wg.Wait()
	t.Logf("%d problems, %d plans of %d batches, %d of %d rolls placed, %d batches frozen: %d plans break a rule",
		c.problems.Load(), c.plans.Load(), c.batches.Load(), c.rolls.Load()-c.leftOut.Load(), c.rolls.Load(), c.frozen.Load(), c.broken.Load())
	t.Logf("%d plans spoilt or left without room: %d caught, %d missed; %d that have just room enough still accepted",
		c.caught.Load()+c.missed.Load(), c.caught.Load(), c.missed.Load(), c.kept.Load())
	for name := range spoilings {
		if c.byKind[name] == 0 {
			t.Errorf("no plan had %s", name)
		}
	}
	for name := range limits {
		if c.byKind[name] == 0 {
			t.Errorf("no plan met the limit of %s", name)
		}
	}
}

// problem plans one problem, and the rest of it beside some frozen batches.
func (c *tally) problem(t *testing.T, seed uint64) {
	d := seededDice(seed)
	p := randomProblem(d)
	c.problems.Add(1)
	plan := c.plan(t, seed, p)
	if len(plan.Batches) == 0 {
		return
	}
	c.spoil(t, seed, d, p, plan)
	c.draw(t, seed, d, p, plan)
	rest := freeze(p, plan, pick(d, plan.Batches).Start)
	c.frozen.Add(int64(len(rest.Frozen)))
	c.plan(t, seed, rest)
}

func (c *tally) plan(t *testing.T, seed uint64, p *planner.Problem) *planner.Plan {
	plan, err := planner.Solve(t.Context(), p, nil)
	if err != nil {
		t.Errorf("problem %d: %v\n%s", seed, err, dump(p))
		return &planner.Plan{}
	}
	if found := checker.Check(p, plan); len(found) > 0 {
		c.broken.Add(1)
		t.Errorf("problem %d: %v\n%s", seed, found, dump(p))
	}
	c.plans.Add(1)
	c.batches.Add(int64(len(plan.Batches)))
	c.rolls.Add(int64(len(p.Rolls)))
	c.leftOut.Add(int64(len(plan.LeftOut)))
	return plan
}

// spoil tries every spoiling on the plan.
func (c *tally) spoil(t *testing.T, seed uint64, d dice, p *planner.Problem, plan *planner.Plan) {
	for name, s := range spoilings {
		spoilt := clone(t, plan)
		if s.do(d, p, spoilt) {
			c.judge(t, seed, name, s.rule, p, spoilt)
		}
	}
}

// draw tries every limit.
func (c *tally) draw(t *testing.T, seed uint64, d dice, p *planner.Problem, plan *planner.Plan) {
	for name, l := range limits {
		q := clone(t, p)
		set := l.at(d, q, plan)
		if set == nil {
			continue
		}
		if set(0); l.sole {
			c.kept.Add(1)
			found := slices.DeleteFunc(checker.Check(q, plan), func(v checker.Violation) bool { return v.Rule == 9 })
			if len(found) > 0 {
				t.Errorf("problem %d: %s just enough, refused: %v\n%s\n%s", seed, name, found, dump(q), dump(plan))
			}
		}
		set(-1)
		c.judge(t, seed, name, l.rule, q, plan)
	}
}

// judge holds that the checker finds a rule broken.
func (c *tally) judge(t *testing.T, seed uint64, name string, rule int, p *planner.Problem, plan *planner.Plan) {
	c.count(name)
	found := checker.Check(p, plan)
	if slices.Contains(rules(found), rule) {
		c.caught.Add(1)
		return
	}
	c.missed.Add(1)
	t.Errorf("problem %d: %s: %v, want rule %d among them\n%s\n%s", seed, name, found, rule, dump(p), dump(plan))
}

func clone[T any](t *testing.T, v *T) *T {
	out := new(T)
	d := json.NewDecoder(bytes.NewReader(dump(v)))
	if err := d.Decode(out); err != nil {
		t.Error(err)
	}
	return out
}
