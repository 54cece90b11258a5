package planner_test

import (
	"testing"

	"wetside/scheduling/planner"
	"wetside/scheduling/planner/checker"
)

// claims are what plans of one problem have reached and say that none can, for
// each level under the values above it. No bound may be above a value.
type claims struct {
	p            *planner.Problem
	value, bound map[above]claim
	// met counts levels of a plan that were held against another plan's.
	met int
}

// above is a level and the values of those above it.
type above struct {
	level  int
	values [6]int64
}

// A claim is a number and whose it is.
type claim struct {
	of int64
	by string
}

func claimsOn(p *planner.Problem) *claims {
	return &claims{p: p, value: make(map[above]claim), bound: make(map[above]claim)}
}

// add checks a plan and holds what it reached and proved against all that was
// added before.
func (c *claims) add(t *testing.T, plan *planner.Plan, by string) {
	t.Helper()
	at := above{}
	for i, l := range plan.Levels {
		at.level = i
		if most, ok := c.bound[at]; !ok || l.Bound > most.of {
			c.bound[at] = claim{l.Bound, by}
		}
		at.values[i] = l.Value
	}
	c.reach(t, plan, by)
}

// reach is the same for a plan found in another way, which proves nothing.
func (c *claims) reach(t *testing.T, plan *planner.Plan, by string) {
	t.Helper()
	for _, v := range checker.Check(c.p, plan) {
		t.Errorf("%s: breaks rule %d: %s", by, v.Rule, v.Detail)
	}
	at := above{}
	for i, l := range plan.Levels {
		at.level = i
		least, ok := c.value[at]
		if ok {
			c.met++
		}
		if !ok || l.Value < least.of {
			least = claim{l.Value, by}
			c.value[at] = least
		}
		if most, ok := c.bound[at]; ok && most.of > least.of {
			t.Errorf("%s is %d of %s, and no less than %d by %s; above it %v", l.Name, least.of, least.by, most.of, most.by, at.values[:i])
		}
		at.values[i] = l.Value
	}
}
