package planner_test

import (
	"flag"
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"wetside/scheduling/planner"
)

var (
	refuteWeeks  = flag.Int("refute", 1, "how many generated weeks of each kind to look for plans of that are below a bound")
	refuteFirst  = flag.Uint64("refute-first", 1, "the first week's number")
	refuteRolls  = flag.Int("refute-rolls", 80, "rolls of a generated week that can be served")
	refuteBudget = flag.Duration("refute-budget", time.Second, "time for its plan; a quarter of it for each of the others")
	refuteOthers = flag.Int("refute-others", 4, "how many other plans of each week to find")
)

// TestBoundsAreNotRefuted holds what is proved of weeks of real size against
// the best plans that can be found: with other seeds, and by narrowing the week
// down to much of what the best plan so far has, which a search improves sooner.
func TestBoundsAreNotRefuted(t *testing.T) {
	budget := *refuteBudget
	if raceDetector {
		budget *= 4
	}
	if testing.Short() {
		budget /= 4
	}
	weeks, met, bettered := 0, 0, 0
	for _, kind := range []func(int, uint64) *planner.Problem{servable, overloaded, week, standing} {
		for n := range uint64(*refuteWeeks) {
			seed := *refuteFirst + n
			p := kind(*refuteRolls, seed)
			held := claimsOn(p)
			best, _ := solveWithin(t, p, budget, nil)
			held.add(t, best, "the plan")
			rng := rand.New(rand.NewPCG(seed, 73))
			for k := range *refuteOthers {
				q, by := narrowed(rng, p, best, 20+rng.IntN(75)), fmt.Sprint("narrowed plan ", k)
				add := held.reach
				if k%4 == 0 {
					q, by, add = copyOf(p), fmt.Sprint("plan with seed ", 100+k), held.add
				}
				q.Search.Seed = int64(100 + k)
				plan, _ := solveWithin(t, q, budget/4, nil)
				add(t, plan, by)
				if better(values(plan), values(best)) {
					best = plan
					bettered++
				}
			}
			weeks++
			met += held.met
			if t.Failed() {
				t.Fatalf("week %d of %d rolls", seed, len(p.Rolls))
			}
		}
	}
	t.Logf("%d weeks: %d levels of a plan held against another's, %d better plans found", weeks, met, bettered)
	if weeks > 0 && met < weeks {
		t.Error("hardly any plan has the values of another: nothing is tested")
	}
}

// standing is a servable week of which the first half of a plan stands.
func standing(rolls int, seed uint64) *planner.Problem { return replanned(servable(rolls, seed)) }

func copyOf(p *planner.Problem) *planner.Problem {
	q := *p
	return &q
}

// narrowed is p with so many of a hundred rolls that are free to be anywhere
// kept to the session that they have in a plan, or out of all: every plan of it
// is one of p, and worth the same there.
func narrowed(rng *rand.Rand, p *planner.Problem, plan *planner.Plan, percent int) *planner.Problem {
	q := copyOf(p)
	q.Bans = slices.Clone(p.Bans)
	place := make(map[string]string)
	for _, b := range plan.Batches {
		for _, r := range b.Rolls {
			place[r.Roll] = b.Session
		}
	}
	pinned := func(id string) bool {
		return slices.ContainsFunc(p.Pins, func(h planner.Hold) bool { return h.Roll == id })
	}
	for _, r := range p.Rolls {
		if r.Booked != "" || pinned(r.ID) || rng.IntN(100) >= percent {
			continue
		}
		if place[r.ID] == "" {
			q.Bans = append(q.Bans, planner.Hold{Roll: r.ID})
			continue
		}
		for _, s := range p.Sessions {
			if s.ID != place[r.ID] {
				q.Bans = append(q.Bans, planner.Hold{Roll: r.ID, Session: s.ID})
			}
		}
	}
	return q
}
