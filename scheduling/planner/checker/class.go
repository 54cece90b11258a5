package checker

import (
	"slices"

	"wetside/scheduling/planner"
)

// checkClass is rule 1: one class to a batch, or shareable ones of one process
// within the tolerance, run by the longest.
func (j *judge) checkClass() {
	for _, r := range j.judged() {
		classes, ok := j.classesIn(r)
		if !ok {
			continue
		}
		longest, shortest := classes[0], classes[0]
		for _, c := range classes[1:] {
			if c.Developing > longest.Developing || c.Developing == longest.Developing && c.ID < longest.ID {
				longest = c
			}
			if c.Developing < shortest.Developing {
				shortest = c
			}
		}
		if len(classes) > 1 {
			j.checkSharing(r, classes, longest, shortest)
		}
		if r.class != longest {
			j.add(ruleClass, r.ID, "", "it runs by class %s, and should by %s", r.Class, longest.ID)
		}
		if r.Process != longest.Process {
			j.add(ruleClass, r.ID, "", "it says process %q, class %s is of %s", r.Process, longest.ID, longest.Process)
		}
	}
}

// classesIn are the classes of a run's rolls, each once; ok is false when one
// is not in the problem, which is then reported.
func (j *judge) classesIn(r *run) (classes []*planner.Class, ok bool) {
	ok = true
	for _, film := range r.films {
		c := j.classes[film.Class]
		if c == nil {
			j.add(ruleClass, r.ID, film.ID, "class %q is not in the problem", film.Class)
			ok = false
		} else if !slices.Contains(classes, c) {
			classes = append(classes, c)
		}
	}
	return classes, ok && len(classes) > 0
}

func (j *judge) checkSharing(r *run, classes []*planner.Class, longest, shortest *planner.Class) {
	for _, c := range classes {
		if !c.Shareable {
			j.add(ruleClass, r.ID, "", "class %s shares with no other", c.ID)
		}
		if c.Process != classes[0].Process {
			j.add(ruleClass, r.ID, "", "classes %s and %s are of processes %s and %s",
				classes[0].ID, c.ID, classes[0].Process, c.Process)
		}
	}
	apart := int64(longest.Developing - shortest.Developing)
	if mul(apart, 1000) > mul(j.problem.TolerancePermille, int64(shortest.Developing)) {
		j.add(ruleClass, r.ID, "", "developing times %s and %s are more than %d ‰ apart",
			shortest.Developing, longest.Developing, j.problem.TolerancePermille)
	}
}
