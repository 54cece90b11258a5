package planner

import (
	"encoding/binary"
	"slices"
)

// The outline of a content is its runs, by which sets, with how many reels of each kind,
// whatever rolls are on them. Settling sessions for outlines first leaves it to the
// linear program which rolls go where: most prices of plans are of runs, and rolls of
// one class in reels of one kind take each other's places.

// outlineOf numbers the outline of a content; contents of one number are of one session.
func (rx *relaxation) outlineOf(c int) int {
	co := &rx.pool[c]
	if co.outline == 0 {
		key := binary.AppendVarint(nil, int64(co.sess))
		for _, l := range co.loads {
			early := int64(0)
			if l.early {
				early = 1
			}
			key = binary.AppendVarint(binary.AppendVarint(binary.AppendVarint(key, int64(l.offer)), int64(l.set)), early)
			for _, n := range l.reels {
				key = binary.AppendVarint(key, int64(n))
			}
		}
		at, ok := rx.outlines[string(key)]
		if !ok {
			at = len(rx.outlines) + 1
			rx.outlines[string(key)] = at
		}
		co.outline = at
	}
	return co.outline
}

// A stroke is one session settled for an outline, and which outlines were then refused.
type stroke struct {
	s, at   int
	refused []int
}

// mostStrokes bounds how often sessions are settled for outlines, and that taken back.
const mostStrokes = 30

// sketch settles all sessions for outlines, and says whether that can be had: a session
// after another, and where it costs too much the last for another (depth first).
func (dv *dive) sketch() bool {
	strokes := []stroke{{s: -1}}
	for n := 0; !dv.expired(); n++ {
		last := len(strokes) - 1
		s, at := -1, -1
		good := dv.cost() <= dv.most
		if good {
			if s, at = dv.commonest(); s < 0 {
				if good = dv.keepWhole(); good {
					return true
				}
			}
		}
		if n >= mostStrokes || !good && last == 0 {
			return false
		}
		if good {
			strokes = append(strokes, stroke{s: s, at: at})
			dv.keep(s, at)
		} else {
			st := strokes[last]
			strokes = strokes[:last]
			for _, o := range st.refused {
				dv.admit(o)
			}
			dv.letGo(st.s)
			dv.refuse(st.s, st.at)
			strokes[last-1].refused = append(strokes[last-1].refused, st.at)
		}
		dv.goOn(sketchRounds, true)
	}
	return false
}

// keepWhole settles the sessions that have one outline alone for it, and says whether all
// that are settled cost no more than they may: some may be there in part.
func (dv *dive) keepWhole() bool {
	rx := dv.ma.rx
	share := make(map[int]float64)
	whole := make(map[int]int) // outlines by session
	for c := range rx.pool {
		i := rx.pool[c].sess
		if dv.ma.colOf(c) < 0 || dv.outline[i] >= 0 {
			continue
		}
		o := rx.outlineOf(c)
		if share[o] += dv.ma.sx.value(dv.ma.col[c]); share[o] > 0.5 {
			whole[i] = c
		}
	}
	sum := int64(0)
	for i := range rx.sess {
		c, ok := whole[i]
		if dv.outline[i] >= 0 {
			c, ok = dv.like[i], true
		}
		for n := 0; ok && n < len(rx.pool[c].loads); n++ {
			sum += rx.pool[c].loads[n].runs
		}
	}
	if dv.ma.goal.level == runs && float64(sum) > dv.most {
		return false
	}
	for i := range rx.sess {
		if c, ok := whole[i]; ok {
			dv.keep(i, rx.outlineOf(c))
		}
	}
	return true
}

// keep settles a session for an outline.
func (dv *dive) keep(s, at int) {
	dv.outline[s] = at
	dv.like[s] = slices.IndexFunc(dv.ma.rx.pool, func(c content) bool { return c.sess == s && c.outline == at })
	dv.unlike[s] = dv.only(s, func(c int) bool { return dv.ma.rx.outlineOf(c) == at })
}

// letGo takes that back.
func (dv *dive) letGo(s int) {
	dv.back(dv.unlike[s])
	dv.outline[s], dv.unlike[s] = -1, nil
}

// refuse puts an outline of a session out.
func (dv *dive) refuse(s, at int) {
	rx := dv.ma.rx
	out := []int{}
	for c := range rx.pool {
		if dv.ma.colOf(c) >= 0 && rx.pool[c].sess == s && rx.outlineOf(c) == at {
			dv.out(c)
			out = append(out, c)
		}
	}
	dv.refused[at] = out
}

// admit takes that back.
func (dv *dive) admit(at int) {
	dv.back(dv.refused[at])
	delete(dv.refused, at)
}

// bars puts the content that was learnt last out if its outline is, and says whether it is.
func (dv *dive) bars() bool {
	if len(dv.refused) == 0 {
		return false
	}
	c := dv.ma.newest
	at := dv.ma.rx.outlineOf(c)
	out, ok := dv.refused[at]
	if ok {
		dv.out(c)
		dv.refused[at] = append(out, c)
	}
	return ok
}

// commonest is the outline of which there is most without being all, of sessions that
// have none yet; −1 when there is none.
func (dv *dive) commonest() (s, at int) {
	ma := dv.ma
	rx := ma.rx
	share := make(map[int]float64)
	var order []int // of outlines, as they are met
	for c := range rx.pool {
		i := rx.pool[c].sess
		if ma.colOf(c) < 0 || dv.outline[i] >= 0 {
			continue
		}
		x := ma.sx.value(ma.col[c])
		if x < 1e-6 {
			continue
		}
		o := rx.outlineOf(c)
		if _, ok := share[o]; !ok {
			order = append(order, c)
		}
		share[o] += x
	}
	s, at = -1, -1
	most := 0.0
	for _, c := range order {
		x := share[rx.outlineOf(c)]
		if x < 0.001 || x > 0.999 {
			continue
		}
		if ma.dives > 0 {
			x *= 0.3 + dv.rng.Float64()
		}
		if x > most {
			s, at, most = rx.pool[c].sess, rx.outlineOf(c), x
		}
	}
	return s, at
}

// refill finds the rolls worth most for the outline that a session is settled for, and
// says whether they are more than it has.
func (dv *dive) refill(i int) bool {
	ma := dv.ma
	best, c := ma.rx.pr.anew(&ma.pr, &ma.li, &ma.rx.pool[dv.like[i]])
	return float64(best) > (ma.sx.dual[ma.rowSess+i]+1e-7)*ma.scale*ma.per*1.000001 && ma.know(c)
}

// anew is the content that is worth most of those like another but for its rolls, and
// what it is worth.
func (pr *pricing) anew(p *prices, li *limits, of *content) (int64, content) {
	rx := pr.rx
	c := content{sess: of.sess, loose: of.loose, outline: of.outline}
	var sum int64
	for n := range of.loads {
		l := &of.loads[n]
		o := &rx.sess[of.sess].offers[l.offer]
		w := way{offer: l.offer, set: l.set, tariff: pr.tariffOf(p, li, of.sess, o, l.set)}
		op := option{early: l.early}
		for d, n := range l.reels {
			op.cell = op.cell*o.box.size[d] + n
			sum -= int64(n) * pr.perReel(p, li, of.sess, o, o.kinds[d])
		}
		from := len(c.items)
		pr.fill(p, li, &c, &w, op)
		for _, it := range c.items[from:] {
			sum += it.n * pr.worth[it.typ]
		}
		sum -= l.runs*w.tariff.of(l.early).run + l.prep*w.tariff.prep
	}
	c.length, c.early = of.length, of.early
	return sum, c
}
