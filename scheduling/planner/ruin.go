package planner

// ruin chooses what to take down.
func (sr *search) ruin() {
	n := len(sr.now)
	sr.cut = append(sr.cut[:0], make([]bool, n)...)
	clear(sr.drop)
	sr.bd.avoid = -1
	if n == 0 {
		return
	}
	at := sr.rng.IntN(n)
	switch sr.rng.IntN(7) {
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
	}
}

func (sr *search) processOf(i int) int {
	return sr.m.class[sr.m.rolls[sr.now[i].rolls[0]].class].process
}
