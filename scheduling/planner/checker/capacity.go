package checker

import (
	"slices"

	"wetside/scheduling/planner"
)

// checkCapacity is rule 3: a set that serves, the film one run may hold, what
// is left of every bath over all runs, and one run of a bath at a time.
func (j *judge) checkCapacity() {
	for _, r := range j.judged() {
		j.checkSet(r)
		for _, bath := range j.bathsOf(r) {
			j.checkRunArea(r, bath)
		}
	}
	for i := range j.problem.Baths {
		bath := &j.problem.Baths[i]
		var users []*run
		own := false
		for _, r := range j.counted() {
			if slices.Contains(r.set.Baths, bath.ID) {
				users = append(users, r)
				own = own || !r.frozen
			}
		}
		if own {
			j.checkLeft(bath, users)
		}
	}
}

// checkSet finds a set of another process or without a bath that a step needs.
func (j *judge) checkSet(r *run) {
	if !slices.Contains(r.set.Processes, r.class.Process) {
		j.add(ruleCapacity, r.ID, "", "bath set %s does not serve process %s", r.BathSet, r.class.Process)
	}
	for _, id := range r.set.Baths {
		if j.baths[id] == nil {
			j.add(ruleCapacity, r.ID, "", "bath %q of set %s is not in the problem", id, r.BathSet)
		}
	}
	for _, step := range r.class.Steps {
		has := func(b *planner.Bath) bool { return b.Role == step.Role }
		if !slices.ContainsFunc(j.bathsOf(r), has) {
			j.add(ruleCapacity, r.ID, "", "bath set %s has no bath for the step %s", r.BathSet, step.Role)
		}
	}
}

// checkRunArea finds more film in one run than the solution carries.
func (j *judge) checkRunArea(r *run, bath *planner.Bath) {
	if bath.RunMM2PerL == nil {
		return
	}
	volume := min(bath.VolumeML, r.tank.VolumeML)
	if mul(r.area(), 1000) > mul(*bath.RunMM2PerL, volume) {
		j.add(ruleCapacity, r.ID, "", "%d mm² of film in one run, %d mL of bath %s carry %d mm²",
			r.area(), volume, bath.ID, mul(*bath.RunMM2PerL, volume)/1000)
	}
}

// checkLeft finds more taken of a bath by all its runs than it has, and runs
// that use it at once. The last of the plan's runs is named.
func (j *judge) checkLeft(bath *planner.Bath, users []*run) {
	slices.SortStableFunc(users, func(a, b *run) int { return a.Start.Compare(b.Start) })
	var area, drawn int64
	var last string
	var spans []taking
	for _, r := range users {
		area = add(area, r.area())
		drawn = add(drawn, j.draw(r, bath))
		spans = append(spans, taking{run: r, from: r.Start, to: r.End})
		if !r.frozen {
			last = r.ID
		}
	}
	if bath.AreaLeftMM2 != nil && area > *bath.AreaLeftMM2 {
		j.add(ruleCapacity, last, "", "bath %s has %d mm² left, its runs take %d mm²", bath.ID, *bath.AreaLeftMM2, area)
	}
	if bath.RunsLeft != nil && int64(len(users)) > *bath.RunsLeft {
		j.add(ruleCapacity, last, "", "bath %s has %d runs left, it is in %d", bath.ID, *bath.RunsLeft, len(users))
	}
	if bath.OneShot {
		if drawn > bath.VolumeML {
			j.add(ruleCapacity, last, "", "one-shot bath %s is %d mL, its runs draw %d mL", bath.ID, bath.VolumeML, drawn)
		}
		return
	}
	for _, pair := range clashes(spans) {
		j.add(ruleCapacity, ownOf(pair), "", "bath %s is in batches %s and %s at once, from %s",
			bath.ID, pair[0].run.ID, pair[1].run.ID, stamp(pair[1].from))
	}
}

// draw is how much of a one-shot bath a run pours away, in mL. That it is at
// most the tank's volume follows from the run's area and from rule 2.
func (j *judge) draw(r *run, bath *planner.Bath) int64 {
	need := j.solution(r)
	if bath.RunMM2PerL != nil && *bath.RunMM2PerL > 0 {
		need = max(need, ceilDiv(mul(r.area(), 1000), *bath.RunMM2PerL))
	}
	return need
}

// ownOf names the plan's run of a pair, the later when both are.
func ownOf(pair [2]taking) string {
	if pair[1].run.frozen {
		return pair[0].run.ID
	}
	return pair[1].run.ID
}
