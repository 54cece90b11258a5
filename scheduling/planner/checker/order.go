package checker

import "slices"

// checkOrder is the second half of rule 6: runs of a tank one after another,
// flushed between unlike processes, and an operator in one place at a time.
func (j *judge) checkOrder() {
	runs := slices.Clone(j.counted())
	slices.SortStableFunc(runs, func(a, b *run) int { return a.Start.Compare(b.Start) })
	for i, a := range runs {
		for _, b := range runs[i+1:] {
			if a.Tank == b.Tank && !(a.frozen && b.frozen) {
				j.checkApart(a, b)
			}
		}
	}
	busy := map[string][]taking{}
	var operators []string
	for _, r := range runs {
		if j.sessions[r.Session] != nil {
			who := r.session.Operator
			busy[who] = append(busy[who], j.busy(r)...)
			operators = append(operators, who)
		}
	}
	slices.Sort(operators)
	for _, who := range slices.Compact(operators) {
		for _, pair := range clashes(busy[who]) {
			j.add(ruleTime, ownOf(pair), "", "operator %s is busy with batches %s and %s at once, from %s",
				who, pair[0].run.ID, pair[1].run.ID, stamp(pair[1].from))
		}
	}
}

// checkApart judges two runs of one tank, a the first to start.
func (j *judge) checkApart(a, b *run) {
	own := b.ID
	if b.frozen {
		own = a.ID
	}
	free, what := a.Clear, "clear"
	if a.process() != b.process() {
		free, what = after(a.Clear, int64(a.tank.Flush)), "clear and flushed"
	}
	if b.Start.Before(free) {
		j.add(ruleTime, own, "", "batch %s starts at %s, tank %s is %s of batch %s only at %s",
			b.ID, stamp(b.Start), b.Tank, what, a.ID, stamp(free))
	}
}

// process is that of the class a run goes by, or the one it states when its
// class is no longer among the problem's.
func (r *run) process() string {
	if r.class.Process != "" {
		return r.class.Process
	}
	return r.Process
}

// busy are the spans in which a run needs its operator.
func (j *judge) busy(r *run) []taking {
	out := []taking{{run: r, from: r.Start, to: after(r.mixed(), j.loading(r))}}
	for _, hand := range r.class.Hands {
		out = append(out, taking{run: r, from: after(r.Wet, int64(hand.From)), to: after(r.Wet, int64(hand.To))})
	}
	return out
}
