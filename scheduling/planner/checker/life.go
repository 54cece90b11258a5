package checker

import (
	"slices"
	"time"

	"wetside/scheduling/planner"
)

// checkLife is rule 4: no step in a dead bath, and kits mixed once, in time,
// by the first batch that uses them.
func (j *judge) checkLife() {
	for i := range j.problem.BathSets {
		set := &j.problem.BathSets[i]
		var users []*run
		for _, r := range j.counted() {
			if r.set == set {
				users = append(users, r)
			}
		}
		slices.SortStableFunc(users, firstToMix)
		j.checkMixing(set, users)
		for _, r := range users {
			if !r.frozen {
				j.checkSteps(r, users[0].mixed())
			}
		}
	}
}

// firstToMix orders runs by start; of two that start together the one that
// mixes comes first.
func firstToMix(a, b *run) int {
	if c := a.Start.Compare(b.Start); c != 0 || a.Mixes == b.Mixes {
		return c
	}
	if a.Mixes {
		return -1
	}
	return 1
}

// checkMixing judges the runs of one set, in order, by who mixes it and when.
func (j *judge) checkMixing(set *planner.BathSet, users []*run) {
	stands := slices.IndexFunc(users, func(r *run) bool { return r.frozen && r.Mixes })
	for i, r := range users {
		if r.frozen {
			continue
		}
		switch {
		case set.Mix == nil:
			if r.Mixes {
				j.add(ruleLife, r.ID, "", "it mixes set %s, which is mixed already", set.ID)
			}
		case i > 0:
			if r.Mixes {
				j.add(ruleLife, r.ID, "", "it mixes set %s, which batch %s uses before", set.ID, users[0].ID)
			}
			if r.Start.Before(users[0].mixed()) {
				j.add(ruleLife, r.ID, "", "it starts at %s, set %s is mixed only at %s",
					stamp(r.Start), set.ID, stamp(users[0].mixed()))
			}
		case !r.Mixes:
			j.add(ruleLife, r.ID, "", "it is the first to use set %s and does not mix it", set.ID)
		case stands > 0:
			j.add(ruleLife, r.ID, "", "it mixes set %s, which batch %s mixes", set.ID, users[stands].ID)
		case set.Mix.By != nil && r.Start.After(*set.Mix.By):
			j.add(ruleLife, r.ID, "", "it mixes kit %s at %s, which keeps until %s",
				set.Mix.Kit, stamp(r.Start), stamp(*set.Mix.By))
		}
	}
}

// checkSteps compares each step's beginning with its bath's expiry.
func (j *judge) checkSteps(r *run, mixed time.Time) {
	for _, step := range r.class.Steps {
		begins := after(r.Wet, int64(step.Begins))
		for _, bath := range j.bathsOf(r) {
			if bath.Role != step.Role {
				continue
			}
			for _, expires := range expiries(bath, r.set, mixed) {
				if begins.After(expires) {
					j.add(ruleLife, r.ID, "", "step %s begins at %s, bath %s expires at %s",
						step.Role, stamp(begins), bath.ID, stamp(expires))
				}
			}
		}
	}
}

// expiries are the ends of a bath's life in a set mixed at that instant.
func expiries(bath *planner.Bath, set *planner.BathSet, mixed time.Time) []time.Time {
	var out []time.Time
	if bath.ExpiresAt != nil {
		out = append(out, *bath.ExpiresAt)
	}
	if bath.Life != nil && set.Mix != nil {
		out = append(out, after(mixed, int64(*bath.Life)))
	}
	return out
}
