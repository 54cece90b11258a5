package planner_test

import (
	"context"
	"math/rand/v2"

	"wetside/lab/units"
	"wetside/scheduling/planner"
)

// A sundry is a problem of some sort, that is searched for some steps alone.
type sundry struct {
	name string
	steps,
	// few are steps for those who search it often.
	few int64
	make func() *planner.Problem
}

// problem makes it, to be searched for so many steps, whatever the clock says.
func (s *sundry) problem(steps int64) *planner.Problem {
	p := s.make()
	p.Search.Iterations, p.Search.Budget = steps, units.Hour
	return p
}

// sundries are problems of every sort: of one session and of a week, with room
// for all and overloaded, with batches that stand, alike rolls, clashing pins,
// and large. The slowest takes a second of one core.
func sundries() []sundry {
	large := size{200, 4, 30}
	if raceDetector {
		large = size{100, 3, 15}
	}
	return []sundry{
		{"tiny", 2_000, 500, func() *planner.Problem { return tiny(rand.New(rand.NewPCG(4, 11))) }},
		{"alike", 500, 120, func() *planner.Problem { return oneTank(30, "c41") }},
		{"pinned too much", 500, 120, func() *planner.Problem { return book(evening(7)) }},
		{"small week", 2_000, 500, func() *planner.Problem { return servable(20, 1) }},
		{"week", 600, 150, func() *planner.Problem { return servable(60, 2) }},
		{"overloaded", 120, 100, func() *planner.Problem { return overloaded(30, 3) }},
		{"scarce", 150, 100, func() *planner.Problem { return week(30, 4) }},
		{"after a plan", 300, 120, func() *planner.Problem { return replanned(week(50, 5)) }},
		{"large", 100, 100, large.week},
	}
}

// replanned is p when half of a plan of it stands, and the rest was told.
func replanned(p *planner.Problem) *planner.Problem {
	p.Search.Iterations, p.Search.Budget = 10, units.Hour
	plan, err := planner.Solve(context.Background(), p, nil)
	if err != nil {
		panic(err)
	}
	freeze(p, plan)
	p.Search.Iterations = 0
	return p
}
