package checker

import (
	"time"

	"wetside/scheduling/planner"
)

// checkDrying is rule 7: each roll hangs where it can, until it is dry, and no
// cabinet holds more than its positions.
func (j *judge) checkDrying() {
	for _, r := range j.judged() {
		for _, pl := range r.Rolls {
			cabinet, roll := j.cabinets[pl.Cabinet], j.rolls[pl.Roll]
			if _, ok := cabinet.Takes[roll.Hang]; !ok {
				j.add(ruleDrying, r.ID, pl.Roll, "cabinet %s does not take film hung as %q", pl.Cabinet, roll.Hang)
			}
			if dry := j.dryAt(r, pl); !pl.DryAt.Equal(dry) {
				j.add(ruleDrying, r.ID, pl.Roll, "dry_at is %s and should be %s", stamp(pl.DryAt), stamp(dry))
			}
		}
	}
	for i := range j.problem.Cabinets {
		cabinet := &j.problem.Cabinets[i]
		for _, over := range overloads(j.hanging(cabinet), cabinet.Positions) {
			j.add(ruleDrying, over.run.ID, "", "%d positions taken in cabinet %s at %s, it has %d",
				over.amount, cabinet.ID, stamp(over.from), cabinet.Positions)
		}
	}
}

// hanging is what each run hangs in a cabinet, and when.
func (j *judge) hanging(cabinet *planner.Cabinet) []taking {
	var out []taking
	for _, r := range j.counted() {
		hung := taking{run: r, from: r.End, to: after(r.End, int64(cabinet.Drying))}
		for _, film := range r.films {
			if r.placement(film.ID).Cabinet == cabinet.ID {
				hung.amount = add(hung.amount, cabinet.Takes[film.Hang])
			}
		}
		out = append(out, hung)
	}
	return out
}

// placement is the first one of a roll in the run.
func (r *run) placement(roll string) planner.Placement {
	for _, pl := range r.Rolls {
		if pl.Roll == roll {
			return pl
		}
	}
	return planner.Placement{}
}

// dryAt is when a roll placed so is dry.
func (j *judge) dryAt(r *run, pl planner.Placement) time.Time {
	return after(r.End, int64(get(j.cabinets, pl.Cabinet).Drying))
}
