package checker

import "slices"

// checkHolds is rule 8: bookings, pins and bans hold, no film before it is
// handed in, every roll once, and only processes that the session allows.
func (j *judge) checkHolds() {
	for _, r := range j.runs {
		if r.frozen {
			continue
		}
		if allowed := r.session.Processes; r.sound && len(allowed) > 0 && !slices.Contains(allowed, r.class.Process) {
			j.add(ruleHolds, r.ID, "", "session %s does not allow process %s", r.Session, r.class.Process)
		}
		for _, film := range r.films {
			if film.Booked != "" && film.Booked != r.Session {
				j.add(ruleHolds, r.ID, film.ID, "booked in session %s, placed in %s", film.Booked, r.Session)
			}
			if r.Start.Before(film.HandedIn) {
				j.add(ruleHolds, r.ID, film.ID, "handed in at %s, the batch starts at %s", stamp(film.HandedIn), stamp(r.Start))
			}
			j.checkPins(r, film.ID)
		}
	}
	j.checkOnce()
}

func (j *judge) checkPins(r *run, roll string) {
	for _, pin := range j.problem.Pins {
		if pin.Roll == roll && pin.Session != "" && pin.Session != r.Session {
			j.add(ruleHolds, r.ID, roll, "pinned to session %s, placed in %s", pin.Session, r.Session)
		}
	}
	for _, ban := range j.problem.Bans {
		switch {
		case ban.Roll != roll:
		case ban.Session == "":
			j.add(ruleHolds, r.ID, roll, "banned from the plan")
		case ban.Session == r.Session:
			j.add(ruleHolds, r.ID, roll, "banned from session %s", ban.Session)
		}
	}
}

// checkOnce finds rolls that are placed or left out other than once in all.
func (j *judge) checkOnce() {
	times := map[string]int{}
	for _, b := range j.plan.Batches {
		for _, pl := range b.Rolls {
			times[pl.Roll]++
		}
	}
	for _, out := range j.plan.LeftOut {
		times[out.Roll]++
	}
	for _, roll := range j.problem.Rolls {
		switch n := times[roll.ID]; n {
		case 0:
			j.add(ruleHolds, "", roll.ID, "neither placed nor left out")
		case 1:
		default:
			j.add(ruleHolds, "", roll.ID, "placed or left out %d times", n)
		}
	}
}
