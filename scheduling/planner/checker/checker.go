// Package checker judges plans: it says which rules of package planner a plan
// breaks, and whether what the plan claims to be worth is so.
//
// It shares no code with the search, only the vocabulary of package planner,
// and is written from that package's documentation, rule by rule, one file
// each. Where the search is quick, this is plain: it lists what each batch
// takes and when, and looks at every instant at which something begins.
package checker

import (
	"cmp"
	"slices"

	"wetside/scheduling/planner"
)

// Check gives every violation found in plan as an answer to p, ordered by
// rule, batch and roll; none means that the plan keeps every rule. It never
// panics, whatever the plan holds.
//
// A batch that names something the problem does not know breaks rule 0, and
// rules 1 to 7 are then not judged of it. Frozen batches are not judged; what
// they take counts. A claimed value is compared only when the plan's shape is
// sound, for otherwise it has none.
func Check(p *planner.Problem, plan *planner.Plan) []Violation {
	if p == nil || plan == nil {
		return []Violation{{Rule: ruleShape, Name: ruleNames[ruleShape], Detail: "there is no plan, or no problem, to judge"}}
	}
	j := newJudge(p, plan)
	j.checkShape()
	sound := len(j.found) == 0
	j.checkClass()
	j.checkFit()
	j.checkCapacity()
	j.checkLife()
	j.checkReels()
	j.checkClock()
	j.checkOrder()
	j.checkDrying()
	j.checkHolds()
	j.checkWorth(sound)
	slices.SortStableFunc(j.found, func(a, b Violation) int {
		return cmp.Or(cmp.Compare(a.Rule, b.Rule), cmp.Compare(a.Batch, b.Batch), cmp.Compare(a.Roll, b.Roll))
	})
	return j.found
}
