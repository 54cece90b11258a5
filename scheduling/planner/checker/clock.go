package checker

import "time"

// checkClock is the first half of rule 6: the parts of each batch follow each
// other without a gap, inside its session and the horizon.
func (j *judge) checkClock() {
	for _, r := range j.judged() {
		lead := max(int64(r.tank.WarmUp[r.class.Process]), j.loading(r))
		j.checkInstant(r, "wet", r.Wet, after(r.mixed(), lead))
		j.checkInstant(r, "end", r.End, after(r.Wet, int64(r.class.Wet)))
		j.checkInstant(r, "clear", r.Clear, after(r.End, int64(r.tank.CleanUp)))
		j.checkInside(r, "session "+r.Session, r.session.Start, r.session.End)
		j.checkInside(r, "the horizon", j.problem.Horizon.Start, j.problem.Horizon.End)
	}
}

func (j *judge) checkInstant(r *run, name string, is, want time.Time) {
	if !is.Equal(want) {
		j.add(ruleTime, r.ID, "", "%s is %s and should be %s", name, stamp(is), stamp(want))
	}
}

func (j *judge) checkInside(r *run, name string, from, to time.Time) {
	if r.Start.Before(from) {
		j.add(ruleTime, r.ID, "", "it starts at %s, %s begins at %s", stamp(r.Start), name, stamp(from))
	}
	if r.Clear.After(to) {
		j.add(ruleTime, r.ID, "", "it is clear at %s, %s ends at %s", stamp(r.Clear), name, stamp(to))
	}
}
