package checker

import (
	"fmt"
	"slices"
	"time"

	"wetside/scheduling/planner"
)

// A judge holds a problem by id, its runs, and what was found so far.
type judge struct {
	problem  *planner.Problem
	plan     *planner.Plan
	tanks    map[string]*planner.Tank
	kinds    map[string]*planner.ReelKind
	cabinets map[string]*planner.Cabinet
	sessions map[string]*planner.Session
	classes  map[string]*planner.Class
	baths    map[string]*planner.Bath
	sets     map[string]*planner.BathSet
	rolls    map[string]*planner.Roll
	// runs are the plan's batches in its order, then the frozen ones.
	runs  []*run
	found []Violation
}

// A run is a batch with what it refers to. What is unknown is a zero value,
// never nil, and takes nothing.
type run struct {
	planner.Batch
	frozen bool
	// sound says that all its ids are known and its counts make sense.
	sound   bool
	session *planner.Session
	tank    *planner.Tank
	class   *planner.Class
	set     *planner.BathSet
	// films are the rolls in it, each once.
	films []*planner.Roll
}

func newJudge(p *planner.Problem, plan *planner.Plan) *judge {
	j := &judge{
		problem:  p,
		plan:     plan,
		tanks:    byID(p.Tanks, func(v *planner.Tank) string { return v.ID }),
		kinds:    byID(p.Reels, func(v *planner.ReelKind) string { return v.Kind }),
		cabinets: byID(p.Cabinets, func(v *planner.Cabinet) string { return v.ID }),
		sessions: byID(p.Sessions, func(v *planner.Session) string { return v.ID }),
		classes:  byID(p.Classes, func(v *planner.Class) string { return v.ID }),
		baths:    byID(p.Baths, func(v *planner.Bath) string { return v.ID }),
		sets:     byID(p.BathSets, func(v *planner.BathSet) string { return v.ID }),
		rolls:    byID(p.Rolls, func(v *planner.Roll) string { return v.ID }),
	}
	for _, b := range plan.Batches {
		j.runs = append(j.runs, j.newRun(b, j.rolls))
	}
	for _, f := range p.Frozen {
		r := j.newRun(f.Batch, nil)
		r.frozen = true
		for i := range f.Films {
			r.films = append(r.films, &f.Films[i])
		}
		j.runs = append(j.runs, r)
	}
	return j
}

func (j *judge) newRun(b planner.Batch, rolls map[string]*planner.Roll) *run {
	r := &run{
		Batch:   b,
		sound:   true,
		session: get(j.sessions, b.Session),
		tank:    get(j.tanks, b.Tank),
		class:   get(j.classes, b.Class),
		set:     get(j.sets, b.BathSet),
	}
	for _, pl := range b.Rolls {
		if roll, ok := rolls[pl.Roll]; ok && !slices.Contains(r.films, roll) {
			r.films = append(r.films, roll)
		}
	}
	return r
}

// judged are the plan's own runs that rules 1 to 7 can be asked of.
func (j *judge) judged() []*run {
	var out []*run
	for _, r := range j.runs {
		if !r.frozen && r.sound {
			out = append(out, r)
		}
	}
	return out
}

// counted are the runs whose takings count: those judged and the frozen ones.
func (j *judge) counted() []*run {
	return slices.DeleteFunc(slices.Clone(j.runs), func(r *run) bool { return !r.frozen && !r.sound })
}

func (j *judge) add(rule int, batch, roll, format string, args ...any) {
	j.found = append(j.found, Violation{
		Rule: rule, Name: ruleNames[rule], Batch: batch, Roll: roll, Detail: fmt.Sprintf(format, args...),
	})
}

// mixed is when the run's kit is mixed, or its start if it mixes none.
func (r *run) mixed() time.Time {
	if r.Mixes && r.set.Mix != nil {
		return after(r.Start, int64(r.set.Mix.Takes))
	}
	return r.Start
}

// loading is the time to load all its reels, one after another, in seconds.
func (j *judge) loading(r *run) int64 {
	var total int64
	for _, use := range r.Reels {
		total = add(total, mul(use.Count, int64(get(j.kinds, use.Kind).Loading)))
	}
	return total
}

// area is the film in the run, in mm².
func (r *run) area() int64 {
	var total int64
	for _, film := range r.films {
		total = add(total, film.AreaMM2)
	}
	return total
}

// solution is what covers the run's reels, in mL.
func (j *judge) solution(r *run) int64 {
	var total int64
	for _, use := range r.Reels {
		total = add(total, mul(use.Count, get(j.kinds, use.Kind).SolutionML))
	}
	return total
}

// bathsOf are the known baths of a run's set, in the set's order.
func (j *judge) bathsOf(r *run) []*planner.Bath {
	var out []*planner.Bath
	for _, id := range r.set.Baths {
		if bath, ok := j.baths[id]; ok {
			out = append(out, bath)
		}
	}
	return out
}

// byID indexes a slice; of two with one id the first counts.
func byID[T any](list []T, id func(*T) string) map[string]*T {
	m := make(map[string]*T, len(list))
	for i := range list {
		if _, taken := m[id(&list[i])]; !taken {
			m[id(&list[i])] = &list[i]
		}
	}
	return m
}

// get is what m holds for id, or a zero value.
func get[T any](m map[string]*T, id string) *T {
	if v, ok := m[id]; ok {
		return v
	}
	return new(T)
}
