package planner

import (
	"cmp"
	"slices"
)

// prices are what the rows of the master are worth, in units of 1/scale of the
// objective: whole numbers, so that what follows from them is exact.
type prices struct {
	late, run, moved int64 // what a day late, a run and a move cost
	roll             []int64
	area             []int64 // by set, per mm²
	row              []int64 // by resource
}

// clone is a copy that stays as it is.
func (p *prices) clone() prices {
	c := *p
	c.roll, c.area, c.row = slices.Clone(p.roll), slices.Clone(p.area), slices.Clone(p.row)
	return c
}

// A content is what one session holds: how many rolls of which types by which
// sets, in how many runs.
type content struct {
	sess    int
	length  int64 // s
	early   int64 // s, of early runs with their clean-up
	loose   bool  // not all of them need be within the early part
	items   []item
	loads   []load
	outline int // its number, once that was asked for
}

type item struct {
	typ, set int
	n        int64
	early    bool
}

type load struct {
	offer, set int
	runs       int64
	reels      []int // by kind of the offer
	prep       int64 // s, of loading or warming up
	early      bool
}

// ofLoad is what some runs of an offer use of a resource, but for their rolls.
func (r *resource) ofLoad(o *offer, l *load) int64 {
	if !r.usedBy(l.set) || r.early && !l.early {
		return 0
	}
	sum := r.perPrep * l.prep
	if r.perRun != nil {
		sum += l.runs * r.perRun(o)
	}
	for d, n := range l.reels {
		if r.perReel != nil {
			sum += int64(n) * r.perReel(o, o.kinds[d])
		}
	}
	return sum
}

// An option is one number of rolls of each kind for an offer.
type option struct {
	time  int
	value int64
	cell  int
	early bool
	slots int32 // of the early part
}

// A way is an offer by one of its sets.
type way struct {
	offer, set int
	first      bool // of its process
	tariff     tariff
	anywhere   []option
	early      []option // in the session's early part
}

// A menu is options of a way, of which one at most is taken.
type menu struct {
	way     int
	first   bool // of its process
	options []option
}

// A tariff is what runs by a set cost by their rows: each mm², run, and second
// of preparation.
type tariff struct {
	area, run, prep int64
	net             int64 // of a run, but for rows that its preparation counts in too
	early           int64 // what an early run costs more
	own             bool  // some rolls cost more, or less, than by their area
}

// of is the tariff of early runs, or of others.
func (t tariff) of(early bool) tariff {
	if early {
		t.run += t.early
		t.net += t.early
	}
	return t
}

// covers says that a tariff is nowhere above another.
func (t *tariff) covers(o *tariff) bool {
	return t.area <= o.area && t.run <= o.run && t.net <= o.net && t.early <= o.early && t.prep <= o.prep && !t.own && !o.own
}

// pricing finds the content of a session that is worth most.
type pricing struct {
	rx     *relaxation
	ways   []way
	menus  []menu
	pack   packer
	order  []int
	worth  []int64
	left   []int64 // by type: rolls that there are
	prefix [][]int64
	best   []option // by time
	found  int      // ways in use
}

func newPricing(rx *relaxation) *pricing {
	pr := &pricing{rx: rx, worth: make([]int64, len(rx.types)), left: make([]int64, len(rx.types))}
	pr.refill()
	return pr
}

// refill makes all rolls there again.
func (pr *pricing) refill() {
	for t := range pr.left {
		pr.left[t] = pr.rx.types[t].n
	}
}

// limits restricts contents: session lengths, when films must be dry, and the
// sets that are not to be had.
type limits struct {
	length []int64 // by session, s
	dry    int64
	shut   []bool // by set
	away   []bool // by session and set; nil: none
	rows   []resource
	byRow  [][]int   // by session: the rows that it has a part in
	early  []int64   // by session: how long its early part is, s; 0 for none
	jumps  [][]int64 // by session and type: what late grows by in a run that ends after it
	barred *bars
	strict bool // early runs all end within the early part
	// soon are by type and session those that are in early runs there or not at all; nil:
	// none.
	soon []bool
}

// absent says that a set is not to be had in a session.
func (li *limits) absent(i, set int) bool { return li.away != nil && li.away[i*len(li.shut)+set] }

// keepAway keeps a set out of some sessions besides; what was kept out before is left as
// it was for others that know of it.
func (li *limits) keepAway(set int, from func(i int) bool) {
	away := make([]bool, len(li.length)*len(li.shut))
	copy(away, li.away)
	for i := range li.length {
		if from(i) {
			away[i*len(li.shut)+set] = true
		}
	}
	li.away = away
}

// tariffOf is what runs of an offer by a set cost in session i.
func (pr *pricing) tariffOf(p *prices, li *limits, i int, o *offer, set int) tariff {
	t := tariff{area: p.area[set], run: p.run, net: p.run}
	for _, r := range li.byRow[i] {
		if row := &li.rows[r]; p.row[r] > 0 && row.usedBy(set) {
			t.own = t.own || row.perRoll != nil && row.sets != nil
			if row.perRun != nil && row.early {
				t.early += p.row[r] * row.perRun(o)
			} else if row.perRun != nil {
				t.run += p.row[r] * row.perRun(o)
				if row.perPrep == 0 {
					t.net += p.row[r] * row.perRun(o)
				}
			}
			t.prep += p.row[r] * row.perPrep
		}
	}
	return t
}

// find lists the ways there are in a session: by each set that no other is
// cheaper than in all respects.
func (pr *pricing) find(p *prices, li *limits, i int) {
	rx := pr.rx
	n, process := 0, -1
	for k := range rx.sess[i].offers {
		o := &rx.sess[i].offers[k]
		from := n
		for _, set := range o.sets {
			t := pr.tariffOf(p, li, i, o, set)
			if li.shut[set] || li.absent(i, set) || slices.ContainsFunc(pr.ways[from:n], func(w way) bool { return w.tariff.covers(&t) }) {
				continue
			}
			for at := n - 1; at >= from; at-- {
				if t.covers(&pr.ways[at].tariff) { // the later is no worse
					n--
					pr.ways[at], pr.ways[n] = pr.ways[n], pr.ways[at]
				}
			}
			if n == len(pr.ways) {
				pr.ways = append(pr.ways, way{})
			}
			w := &pr.ways[n]
			w.offer, w.set, w.tariff, w.first = k, set, t, false
			n++
		}
		if at := rx.leads[o.lead].process; from < n && at != process {
			process = at
			pr.ways[from].first = true
		}
	}
	pr.found = n
}

// value gives each roll type of an offer its worth there.
func (pr *pricing) value(p *prices, li *limits, i int, w *way, early bool) {
	for _, t := range pr.rx.leads[pr.rx.sess[i].offers[w.offer].lead].types {
		pr.worth[t] = pr.worthOf(p, li, i, w, t, early)
	}
}

// urgent says that some rolls of a way are worth more in early runs, or these worth
// having.
func (pr *pricing) urgent(p *prices, li *limits, i int, w *way) bool {
	rx := pr.rx
	return li.early[i] > 0 && (w.tariff.early < 0 || slices.ContainsFunc(rx.leads[rx.sess[i].offers[w.offer].lead].types, func(t int) bool {
		return pr.worthOf(p, li, i, w, t, true) > max(pr.worthOf(p, li, i, w, t, false), w.leastWorth(true))
	}))
}

// leastWorth is what rolls are worth more than that are in early runs, or in others:
// nothing, or less where these are worth having.
func (w *way) leastWorth(early bool) int64 {
	if w.tariff.of(early).net < 0 {
		return impossibly
	}
	return 0
}

// impossibly is what a roll is worth where it cannot be.
const impossibly = -never

// worthOf is what one roll of a type is worth in session i.
func (pr *pricing) worthOf(p *prices, li *limits, i int, w *way, t int, early bool) int64 {
	s := pr.rx.sess[i].index
	ty := &pr.rx.types[t]
	if ty.late[s] >= never || ty.dry[s] > li.dry || li.barred.has(t, i) {
		return impossibly
	}
	late := ty.late[s]
	if !early {
		if li.onlySoon(pr.rx, t, i) {
			return impossibly
		}
		late += li.jumps[i][t]
	}
	v := p.roll[t] - p.late*late - p.moved*ty.moved[s] - w.tariff.area*ty.area
	for _, r := range li.byRow[i] {
		if row := &li.rows[r]; p.row[r] > 0 && row.perRoll != nil && row.usedBy(w.set) && !row.spares(i, early) {
			v -= p.row[r] * row.perRoll[t]
		}
	}
	return v
}

// ranked are the types of one kind of an offer that are worth something, best
// first; where runs are worth having, all that can be there.
func (pr *pricing) ranked(o *offer, w *way, k int, early bool) []int {
	rx := pr.rx
	least := w.leastWorth(early)
	pr.order = pr.order[:0]
	for _, t := range rx.leads[o.lead].types {
		if rx.types[t].kind == k && pr.worth[t] > least {
			pr.order = append(pr.order, t)
		}
	}
	slices.SortFunc(pr.order, func(a, b int) int { return cmp.Or(cmp.Compare(pr.worth[b], pr.worth[a]), cmp.Compare(a, b)) })
	return pr.order
}

// perReel is what one more reel of a kind costs by the rows.
func (pr *pricing) perReel(p *prices, li *limits, i int, o *offer, kind int) int64 {
	var sum int64
	for _, r := range li.byRow[i] {
		if row := &li.rows[r]; p.row[r] > 0 && row.perReel != nil {
			sum += p.row[r] * row.perReel(o, kind)
		}
	}
	return sum
}

// offered lists the options of a way, rolls being worth what they are in early runs or
// in others, that none betters in less time.
func (pr *pricing) offered(p *prices, li *limits, i int, w *way, out []option, units int, early bool) []option {
	out = out[:0]
	pr.value(p, li, i, w, early)
	rx := pr.rx
	o := &rx.sess[i].offers[w.offer]
	for len(pr.prefix) < len(o.kinds) {
		pr.prefix = append(pr.prefix, nil)
	}
	any := false
	for n, k := range o.kinds {
		each := pr.perReel(p, li, i, o, k)
		sums := append(pr.prefix[n][:0], 0)
		var sum, rolls int64
		for _, t := range pr.ranked(o, w, k, early) {
			any = true
			for range pr.left[t] {
				if rolls == 0 || rolls == o.box.holds[n] || pr.worth[t] <= 0 {
					if len(sums) == o.box.size[n] {
						break
					}
					sum -= each
					sums = append(sums, sum) // the best in one more reel
					rolls = 0
				}
				sum += pr.worth[t]
				rolls++
				sums[len(sums)-1] = sum
			}
		}
		pr.prefix[n] = sums
	}
	if !any {
		return out
	}
	for len(pr.best) <= units {
		pr.best = append(pr.best, option{})
	}
	for t := range units + 1 {
		pr.best[t] = option{}
	}
	by := w.tariff.of(early)
	pr.scan(o, &by, units)
	var most int64
	for t := range units + 1 {
		if b := pr.best[t]; b.value > most {
			most = b.value
			out = append(out, option{time: t, value: b.value, cell: b.cell})
		}
	}
	return out
}

// scan goes through all numbers of rolls worth something and keeps the best by
// time.
func (pr *pricing) scan(o *offer, by *tariff, units int) {
	b := o.box
	dims := len(b.size)
	unit := pr.rx.unit
	var walk func(d, cell int, value int64)
	walk = func(d, cell int, value int64) {
		sums := pr.prefix[d]
		if d == dims-1 {
			base := cell * b.size[d]
			for n := range sums {
				runs := int64(b.runs[base+n])
				if runs == 0 || runs > int64(b.most) {
					continue
				}
				prep := b.prep[base+n]
				at := int((runs*o.perRun + prep) / unit)
				if at > units {
					continue
				}
				if v := value + sums[n] - runs*by.run - prep*by.prep; v > pr.best[at].value {
					pr.best[at].value, pr.best[at].cell = v, base+n
				}
			}
			return
		}
		for n := range sums {
			walk(d+1, cell*b.size[d]+n, value+sums[n])
		}
	}
	walk(0, 0, 0)
}

// best finds the content of session i that is worth most, and what. Nothing is
// worth 0.
func (pr *pricing) session(p *prices, li *limits, i int) int64 {
	rx := pr.rx
	se := &rx.sess[i]
	length := min(se.length, li.length[i])
	if length < 0 {
		return 0
	}
	pr.find(p, li, i)
	rx.spent += int64(pr.found) * 4_000
	units, flush := int(length/rx.unit), int(rx.flush(i)/rx.unit)
	part := li.part(rx, i)
	pr.menus = pr.menus[:0]
	for k := range pr.found {
		w := &pr.ways[k]
		w.anywhere = pr.offered(p, li, i, w, w.anywhere, units, false)
		pr.menus = append(pr.menus, menu{k, w.first, w.anywhere})
		if pr.urgent(p, li, i, w) {
			pr.offerEarly(p, li, i, k, units)
		}
	}
	best := pr.pack.fill(pr.menus, units, flush, int(part/slotOf(part))+1)
	rx.spent += int64(len(pr.pack.labels)) * 20
	return best
}

// offerEarly adds what the rolls of a way are worth in early runs. Strictly, those all
// end within the early part, beside other runs by the same way; else it is enough for
// all rolls of the way that one does.
func (pr *pricing) offerEarly(p *prices, li *limits, i, k, units int) {
	rx, w := pr.rx, &pr.ways[k]
	o := &rx.sess[i].offers[w.offer]
	part := li.part(rx, i)
	slot := slotOf(part)
	if li.strict {
		units = min(units, int(part/rx.unit))
	}
	w.early = pr.offered(p, li, i, w, w.early, units, true)
	for n := range w.early {
		op := &w.early[n]
		op.early, op.slots = true, int32((o.perRun+o.warm)/slot) // #nosec G115 -- a number of slots
		if li.strict {
			op.slots = int32(int64(op.time) * rx.unit / slot) // #nosec G115 -- a number of slots
		}
	}
	if li.strict {
		pr.menus = append(pr.menus, menu{k, false, w.early})
		return
	}
	w.anywhere = append(w.anywhere, w.early...)
	slices.SortStableFunc(w.anywhere, func(a, b option) int { return cmp.Compare(a.time, b.time) })
	pr.menus[len(pr.menus)-1].options = w.anywhere
}

// content reads off what session found.
func (pr *pricing) content(p *prices, li *limits, i int) content {
	rx := pr.rx
	c := content{sess: i, loose: !li.strict}
	process := -1
	for l := pr.pack.best; l > 0; l = pr.pack.labels[l].before {
		at := &pr.pack.labels[l]
		if at.menu < 0 {
			continue
		}
		mn := &pr.menus[at.menu]
		w := &pr.ways[mn.way]
		pr.fill(p, li, &c, w, mn.options[at.option])
		if of := rx.leads[rx.sess[i].offers[w.offer].lead].process; of != process {
			if process >= 0 {
				c.length += rx.flush(i)
			}
			process = of
		}
	}
	return c
}

// fill adds the rolls of an option to a content.
func (pr *pricing) fill(p *prices, li *limits, c *content, w *way, op option) {
	rx := pr.rx
	o := &rx.sess[c.sess].offers[w.offer]
	pr.value(p, li, c.sess, w, op.early)
	numbers := make([]int, len(o.kinds))
	for d, cell := len(o.kinds)-1, op.cell; d >= 0; d-- {
		numbers[d] = cell % o.box.size[d]
		cell /= o.box.size[d]
	}
	for d, kind := range o.kinds {
		reels, room := int64(numbers[d]), int64(0) // room in the reel begun last
		for _, t := range pr.ranked(o, w, kind, op.early) {
			each := o.box.holds[d]
			if pr.worth[t] <= 0 {
				each, room = 1, 0
			}
			if n := min(room+reels*each, pr.left[t]); n > 0 {
				c.items = append(c.items, item{t, w.set, n, op.early})
				more := max(n-room+each-1, 0) / each
				reels -= more
				room += more*each - n
			}
		}
	}
	runs, prep := int64(o.box.runs[op.cell]), o.box.prep[op.cell]
	c.loads = append(c.loads, load{w.offer, w.set, runs, numbers, prep, op.early})
	c.length += runs*o.perRun + prep
	if op.early {
		c.early += runs*o.perRun + prep
	}
}
