package planner

import "math"

// What a program of whole numbers of rolls in each session has there need not be
// contents: it may be parts of several. Contents are made of the numbers then.

// What things are worth to contents that are to hold given rolls.
const (
	wholeRoll = 1 << 44
	wholeLate = 1 << 34
	wholeRun  = 1 << 26
)

// wholeContents gives each session the content that holds what a master has there in
// whole rolls: in the fewest runs, by the sets that have most of it.
func (ma *master) wholeContents() []content {
	rx, pr := ma.rx, ma.rx.pr
	defer pr.refill()
	p := prices{late: wholeLate, run: wholeRun, roll: make([]int64, len(rx.types)), area: make([]int64, len(rx.sets)), row: make([]int64, len(ma.li.rows))}
	for t := range p.roll {
		p.roll[t] = wholeRoll
	}
	left := make([]int64, len(rx.types))
	for t := range left {
		left[t] = rx.types[t].n
	}
	numbers := make([][]int64, len(rx.sess))
	for i := range numbers {
		numbers[i] = make([]int64, len(rx.types))
	}
	for _, c := range ma.rollsIn() {
		t, i := c.key.a, c.key.b
		n := min(int64(math.Round(c.value)), left[t])
		numbers[i][t] = n
		left[t] -= n
	}
	share := make([][]float64, len(rx.sess)) // of film by session and set
	for i := range share {
		share[i] = make([]float64, len(rx.sets))
	}
	for c := range rx.pool {
		if col := ma.colOf(c); col >= 0 {
			x := ma.sx.value(col)
			for _, it := range rx.pool[c].items {
				share[rx.pool[c].sess][it.set] += x * float64(it.n)
			}
		}
	}
	var out []content
	for i := range rx.sess {
		copy(pr.left, numbers[i])
		for s := range p.area {
			p.area[s] = 4
			if share[i][s] > 0 {
				p.area[s] = int64(3 / (1 + share[i][s]))
			}
		}
		if pr.session(&p, &ma.li, i) > 0 {
			out = append(out, pr.content(&p, &ma.li, i))
		}
	}
	return out
}

// landWhole makes a plan of the whole rolls that a master has in each session.
func (sr *search) landWhole(pf *proofs, ma *master, stop func() bool) {
	rx, m, s := pf.rx, sr.m, sr.s
	contents := ma.wholeContents()
	for set, col := range ma.kit {
		sr.bd.shut[set] = col >= 0 && ma.sx.value(col) < 1e-6
	}
	sr.aim = ma.goal.finish
	clear(s.mixFrom)
	s.reset()
	s.dryBy = sr.aim
	given := make([]bool, len(m.rolls))
	for _, cluster := range rx.clusters {
		var specs []spec
		var promised int64
		for _, i := range cluster {
			for k := range contents {
				if contents[k].sess == i {
					sp, p := rx.runs(&contents[k], &ma.li, given, m.urgent)
					specs, promised = append(specs, sp...), promised+p
				}
			}
		}
		before := len(s.batches)
		if sr.arrange(rx, specs, promised) >= 0 && !stop() {
			sr.holdOn(rx, specs, before)
		}
	}
	sr.insertRest()
	clear(sr.bd.shut)
	sr.keep(s.value())
}
