package planner_test

import (
	"testing"

	"wetside/scheduling/planner"
	"wetside/scheduling/planner/checker"
)

// claims are what plans of one problem have reached and say that none can, for
// each level under the values above it. No bound may be above a value.
type claims struct {
	value, bound map[above]claim
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

func newClaims() *claims {
	return &claims{value: make(map[above]claim), bound: make(map[above]claim)}
}

// add checks a plan and holds what it says against all that were added before.
func (c *claims) add(t *testing.T, p *planner.Problem, plan *planner.Plan, by string) {
	t.Helper()
	for _, v := range checker.Check(p, plan) {
		t.Errorf("%s: breaks rule %d: %s", by, v.Rule, v.Detail)
	}
	at := above{}
	for i, l := range plan.Levels {
		at.level = i
		if least, ok := c.value[at]; !ok || l.Value < least.of {
			c.value[at] = claim{l.Value, by}
		}
		if most, ok := c.bound[at]; !ok || l.Bound > most.of {
			c.bound[at] = claim{l.Bound, by}
		}
		if least, most := c.value[at], c.bound[at]; most.of > least.of {
			t.Errorf("%s is %d of %s, and no less than %d by %s; above it %v", l.Name, least.of, least.by, most.of, most.by, at.values[:i])
		}
		at.values[i] = l.Value
	}
}
