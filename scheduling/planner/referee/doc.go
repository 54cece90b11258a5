// Package referee holds a second opinion on the planner: the planning problem,
// whole, as a MiniZinc model written from the rules in words (referee.mzn), and
// a test that has Gecode, a solver of other people's making, look for better
// plans than the planner's on random problems of up to fourteen rolls.
//
// For each level of the objective the solver is given the values of the levels
// above and the value claimed, and finds the least there is. So it shows both
// that a plan so good exists by its own reading of the rules, and that none is
// better. When the plan claimed cannot be, or a better one can, at a level that
// the planner says is proved, the test fails.
//
// MiniZinc 2.6 of Debian 12 does not type-check globals.mzn for Gecode, so the
// model includes the one global constraint that it uses by itself.
//
//	go test ./scheduling/planner/referee -run TestReferee -v
//	go test ./scheduling/planner/referee -run TestReferee -v -referee.problems 200 -referee.patience 1m
package referee
