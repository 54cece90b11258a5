package checker

import (
	"slices"
	"time"

	"wetside/scheduling/planner"
)

// checkShape is rule 0: every id is known, every batch has an id of its own,
// rolls, and counts and instants that make sense; who is left out is told why.
func (j *judge) checkShape() {
	seen := map[string]bool{}
	for _, f := range j.problem.Frozen {
		seen[f.ID] = true
	}
	for _, r := range j.runs {
		if r.frozen {
			continue
		}
		switch {
		case r.ID == "":
			j.add(ruleShape, r.ID, "", "a batch has no id")
		case seen[r.ID]:
			j.add(ruleShape, r.ID, "", "another batch has this id")
		}
		seen[r.ID] = true
		before := len(j.found)
		j.checkNames(r)
		j.checkCounts(r)
		r.sound = len(j.found) == before
	}
	for _, out := range j.plan.LeftOut {
		j.checkLeftOut(out)
	}
}

// checkNames finds ids of a batch that the problem does not know.
func (j *judge) checkNames(r *run) {
	unknown := func(kind, id string, known bool) {
		if !known {
			j.add(ruleShape, r.ID, "", "%s %q is not in the problem", kind, id)
		}
	}
	unknown("session", r.Session, j.sessions[r.Session] != nil)
	unknown("tank", r.Tank, j.tanks[r.Tank] != nil)
	unknown("class", r.Class, j.classes[r.Class] != nil)
	unknown("bath set", r.BathSet, j.sets[r.BathSet] != nil)
	for _, use := range r.Reels {
		unknown("reel kind", use.Kind, j.kinds[use.Kind] != nil)
	}
	for _, pl := range r.Rolls {
		unknown("roll", pl.Roll, j.rolls[pl.Roll] != nil)
		unknown("cabinet", pl.Cabinet, j.cabinets[pl.Cabinet] != nil)
	}
	if j.sessions[r.Session] != nil && r.session.Tank != r.Tank {
		j.add(ruleShape, r.ID, "", "session %s is of tank %s, not %q", r.Session, r.session.Tank, r.Tank)
	}
}

// checkCounts finds a batch of nothing, reels counted twice or not at all, and
// instants that are not whole seconds.
func (j *judge) checkCounts(r *run) {
	if len(r.Rolls) == 0 {
		j.add(ruleShape, r.ID, "", "it has no rolls")
	}
	for i, use := range r.Reels {
		if use.Count < 1 {
			j.add(ruleShape, r.ID, "", "it takes %d reels of kind %s", use.Count, use.Kind)
		}
		if slices.ContainsFunc(r.Reels[:i], func(u planner.ReelUse) bool { return u.Kind == use.Kind }) {
			j.add(ruleShape, r.ID, "", "reel kind %s is listed twice", use.Kind)
		}
	}
	for _, t := range []time.Time{r.Start, r.Wet, r.End, r.Clear} {
		if t.Nanosecond() != 0 {
			j.add(ruleShape, r.ID, "", "%s is not a whole second", t.Format(time.RFC3339Nano))
		}
	}
}

var reasonCodes = []string{
	planner.ReasonNoSession, planner.ReasonReelKind, planner.ReasonReels, planner.ReasonTankHeight,
	planner.ReasonSolution, planner.ReasonRunArea, planner.ReasonNoBath, planner.ReasonBathCapacity,
	planner.ReasonBathLife, planner.ReasonBathBusy, planner.ReasonSessionTime, planner.ReasonOperator, planner.ReasonCabinet,
	planner.ReasonHandedIn, planner.ReasonBanned, planner.ReasonBookedElse, planner.ReasonTimeOver,
}

// checkLeftOut finds unknown rolls and reasons that say nothing.
func (j *judge) checkLeftOut(out planner.LeftOut) {
	if j.rolls[out.Roll] == nil {
		j.add(ruleShape, "", out.Roll, "left out, but not in the problem")
		return
	}
	if len(out.Reasons) == 0 {
		j.add(ruleShape, "", out.Roll, "left out without a reason")
	}
	for _, reason := range out.Reasons {
		if !slices.Contains(reasonCodes, reason.Code) {
			j.add(ruleShape, "", out.Roll, "left out for the unknown reason %q", reason.Code)
		}
		if reason.Session != "" && j.sessions[reason.Session] == nil {
			j.add(ruleShape, "", out.Roll, "left out of session %q, which is not in the problem", reason.Session)
		}
	}
}
