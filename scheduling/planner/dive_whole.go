package planner

import (
	"cmp"
	"math"
	"slices"
)

// Contents that a session has in part often add up to whole numbers of runs and rolls.
// Those are a content by themselves, where the runs take these rolls in the time there
// is, and cost no more: what costs is runs and rolls.

// A medley is what the contents of a session add up to.
type medley struct {
	items map[itemKey]float64
	runs  map[loadKey]float64
}

type itemKey struct {
	typ, set int
	early    bool
}

type loadKey struct {
	offer, set int
	early      bool
}

// wholes are the contents that the sessions' add up to, −1 for none of a session; false
// where they add up to no content.
func (ma *master) wholes() ([]int, bool) {
	rx := ma.rx
	medleys := make([]medley, len(rx.sess))
	out := make([]int, len(rx.sess))
	for i := range out {
		out[i] = -1
	}
	for c, x := range ma.inUse() {
		co := &rx.pool[c]
		if x > 1-1e-4 {
			out[co.sess] = c
			continue
		}
		md := &medleys[co.sess]
		if md.items == nil {
			md.items, md.runs = make(map[itemKey]float64), make(map[loadKey]float64)
		}
		for _, it := range co.items {
			md.items[itemKey{it.typ, it.set, it.early}] += x * float64(it.n)
		}
		for _, l := range co.loads {
			md.runs[loadKey{l.offer, l.set, l.early}] += x * float64(l.runs)
		}
	}
	for i := range medleys {
		if out[i] >= 0 || medleys[i].items == nil {
			continue
		}
		c, ok := ma.contentOf(i, &medleys[i])
		if !ok {
			return nil, false
		}
		if len(c.loads) > 0 {
			ma.know(c)
			out[i] = rx.keys[c.key()]
		}
	}
	return out, true
}

// contentOf is the content of a medley; false where it is not one.
func (ma *master) contentOf(i int, md *medley) (content, bool) {
	rx := ma.rx
	se := &rx.sess[i]
	c := content{sess: i, loose: !ma.li.strict}
	for k, x := range md.items {
		n := math.Round(x)
		if math.Abs(x-n) >= nearWhole {
			return c, false
		}
		if n > 0 {
			c.items = append(c.items, item{k.typ, k.set, int64(n), k.early})
		}
	}
	slices.SortFunc(c.items, func(a, b item) int {
		return cmp.Or(cmp.Compare(a.typ, b.typ), cmp.Compare(a.set, b.set), earlyFirst(a.early, b.early))
	})
	for k, x := range md.runs {
		n := math.Round(x)
		if math.Abs(x-n) >= nearWhole {
			return c, false
		}
		if n > 0 {
			c.loads = append(c.loads, load{offer: k.offer, set: k.set, runs: int64(n), early: k.early, reels: make([]int, len(se.offers[k.offer].kinds))})
		}
	}
	slices.SortFunc(c.loads, func(a, b load) int {
		return cmp.Or(cmp.Compare(a.offer, b.offer), cmp.Compare(a.set, b.set), earlyFirst(a.early, b.early))
	})
	for _, it := range c.items {
		if !rx.onReels(&c, it) {
			return c, false
		}
	}
	process := -1
	for n := range c.loads {
		l := &c.loads[n]
		o := &se.offers[l.offer]
		for d := range l.reels { // of rolls, so far
			if l.reels[d] = (l.reels[d] + int(o.box.holds[d]) - 1) / int(o.box.holds[d]); l.reels[d] >= o.box.size[d] {
				return c, false
			}
		}
		cell := o.box.cell(l.reels)
		if int64(o.box.runs[cell]) > l.runs || cell == 0 {
			return c, false
		}
		l.runs, l.prep = int64(o.box.runs[cell]), o.box.prep[cell]
		c.length += l.runs*o.perRun + l.prep
		if l.early {
			c.early += l.runs*o.perRun + l.prep
		}
		if of := rx.leads[o.lead].process; of != process {
			if process >= 0 {
				c.length += rx.flush(i)
			}
			process = of
		}
	}
	return c, c.length <= se.length && ma.allows(&c)
}

// onReels puts rolls on the reels of runs by their class, or else by another that they
// may run with.
func (rx *relaxation) onReels(c *content, it item) bool {
	at := -1
	for n := range c.loads {
		l := &c.loads[n]
		lead := &rx.leads[rx.sess[c.sess].offers[l.offer].lead]
		if l.set != it.set || l.early != it.early || !slices.Contains(lead.types, it.typ) {
			continue
		}
		if at < 0 || lead.class == rx.types[it.typ].class {
			at = n
		}
	}
	if at < 0 {
		return false
	}
	d := slices.Index(rx.sess[c.sess].offers[c.loads[at].offer].kinds, rx.types[it.typ].kind)
	c.loads[at].reels[d] += int(it.n)
	return true
}

// takeWhole settles all sessions for what their contents add up to; false where that is
// not whole.
func (dv *dive) takeWhole() bool {
	ma := dv.ma
	if dv.cost() > dv.most {
		return false
	}
	wholes, ok := ma.wholes()
	if !ok {
		return false
	}
	for i, c := range wholes {
		if dv.drawn[i] = c; c >= 0 {
			dv.keep(i, ma.rx.outlineOf(c))
		}
	}
	return true
}

// earlyFirst orders what is early first.
func earlyFirst(a, b bool) int {
	switch {
	case a == b:
		return 0
	case a:
		return -1
	}
	return 1
}
