package planner

// ruinNothing has all of the plan replayed as it is.
func (sr *search) ruinNothing() {
	sr.cut, sr.to = sr.cut[:0], sr.to[:0]
	clear(sr.drop)
	sr.bd.avoid = -1
}

// ruin chooses what to take down.
func (sr *search) ruin() {
	n := len(sr.now)
	sr.ruinNothing()
	sr.cut = append(sr.cut, make([]bool, n)...)
	if n == 0 {
		return
	}
	at := sr.rng.IntN(n)
	switch sr.rng.IntN(8) {
	case 0: // a few batches
		for range 1 + sr.rng.IntN(min(n, 4)) {
			sr.cut[sr.rng.IntN(n)] = true
		}
	case 1: // a session or two
		for range 1 + sr.rng.IntN(2) {
			sess := sr.now[sr.rng.IntN(n)].sess
			for i := range sr.now {
				sr.cut[i] = sr.cut[i] || sr.now[i].sess == sess
			}
		}
	case 2: // some batches of one process
		process := sr.processOf(at)
		for i := range sr.now {
			sr.cut[i] = sr.processOf(i) == process && sr.rng.IntN(n) < 6
		}
	case 3: // all that one bath set does
		if sr.rng.IntN(2) == 0 {
			sr.bd.avoid = sr.now[at].set
		}
		for i := range sr.now {
			// Without it another kit may have to be mixed sooner.
			other := sr.bd.avoid >= 0 && sr.m.sets[sr.now[i].set].mix && sr.processOf(i) == sr.processOf(at)
			sr.cut[i] = sr.now[i].set == sr.now[at].set || other
		}
	case 4: // some rolls
		for range 1 + sr.rng.IntN(6) {
			rolls := sr.now[sr.rng.IntN(n)].rolls
			sr.drop[rolls[sr.rng.IntN(len(rolls))]] = true
		}
	case 5: // what is near in time, in any tank
		reach := (1 + sr.rng.Int64N(4)) * 60 * 60
		for i := range sr.now {
			sr.cut[i] = max(sr.now[i].start-sr.now[at].start, sr.now[at].start-sr.now[i].start) < reach
		}
	case 6: // the order alone, and one batch
		sr.rng.Shuffle(n, func(i, j int) { sr.now[i], sr.now[j] = sr.now[j], sr.now[i] })
		sr.cut[at] = true
	case 7: // nothing: a batch goes to another session as it is, or two change places
		for range n {
			sr.to = append(sr.to, -1)
		}
		if sr.rng.IntN(2) == 0 {
			at = sr.lastRun()
		}
		sr.to[at] = sr.elsewhere(at)
		if other := sr.rng.IntN(n); sr.rng.IntN(2) == 0 {
			sr.to[at], sr.to[other] = sr.now[other].sess, sr.now[at].sess
		}
	}
}

// lastRun is the batch of the plan that starts last.
func (sr *search) lastRun() int {
	last := 0
	for i := range sr.now {
		if sr.now[i].start > sr.now[last].start {
			last = i
		}
	}
	return last
}

// elsewhere is a session that a batch's first roll may be in.
func (sr *search) elsewhere(i int) int {
	sessions := sr.m.rolls[sr.now[i].rolls[0]].sessions
	return sessions[sr.rng.IntN(len(sessions))]
}

func (sr *search) processOf(i int) int {
	return sr.m.class[sr.m.rolls[sr.now[i].rolls[0]].class].process
}
