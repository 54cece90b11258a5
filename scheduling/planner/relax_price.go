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

// A content is what one session holds: how many rolls of which types by which
// sets, in how many runs.
type content struct {
	sess   int
	length int64 // s
	items  []item
	loads  []load
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
}

// An option is one number of rolls of each kind for an offer.
type option struct {
	time  int
	value int64
	cell  int
	early bool // one run at least is in the session's early part
}

// pricing finds the content of a session that is worth most.
type pricing struct {
	rx      *relaxation
	f, g    []int64   // by slots of the early part and time
	before  []int64   // g before an offer
	choice  [][]int32 // by offer, slots and time: one more than the option taken, 0 for none; empty where there is none
	took    [][]bool  // by process group, slots and time; empty where nothing is worth taking
	slot    []int     // by offer: slots that one run takes
	options [][]option
	set     []int
	width   int
	slots   int
	order   []int
	worth   []int64
	prefix  [][]int64
	best    []option // by time
}

func newPricing(rx *relaxation) *pricing {
	return &pricing{rx: rx}
}

// limits restricts contents: session lengths and when films must be dry.
type limits struct {
	length []int64 // by session, s
	dry    int64
}

// value gives each roll type of an offer its worth there, with the set used.
func (pr *pricing) value(p *prices, li *limits, i int, o *offer, early bool) (set int, critical bool) {
	rx := pr.rx
	s := rx.sess[i].index
	set = o.sets[0]
	for _, k := range o.sets {
		if p.area[k] < p.area[set] {
			set = k
		}
	}
	for _, t := range rx.leads[o.lead].types {
		ty := &rx.types[t]
		pr.worth[t] = 0
		if ty.late[s] >= never || ty.dry[s] > li.dry {
			continue
		}
		late := ty.late[s]
		if ty.jump[s] > 0 && !early {
			late += ty.jump[s]
			critical = true
		}
		w := p.roll[t] - p.late*late - p.moved*ty.moved[s] - p.area[set]*ty.area
		for _, r := range rx.byRow[i] {
			if row := &rx.rows[r]; p.row[r] > 0 && row.perRoll != nil {
				w -= p.row[r] * row.perRoll(ty)
			}
		}
		pr.worth[t] = max(w, 0)
	}
	return set, critical
}

// ranked are the types of one kind of an offer that are worth something, best
// first.
func (pr *pricing) ranked(o *offer, k int) []int {
	rx := pr.rx
	pr.order = pr.order[:0]
	for _, t := range rx.leads[o.lead].types {
		if rx.types[t].kind == k && pr.worth[t] > 0 {
			pr.order = append(pr.order, t)
		}
	}
	slices.SortFunc(pr.order, func(a, b int) int { return cmp.Or(cmp.Compare(pr.worth[b], pr.worth[a]), cmp.Compare(a, b)) })
	return pr.order
}

// offered lists the options of an offer that none betters in less time.
func (pr *pricing) offered(p *prices, li *limits, i int, o *offer, units int, out []option) ([]option, int) {
	out = out[:0]
	set, critical := pr.value(p, li, i, o, false)
	out = pr.offeredNow(p, i, o, units, false, out)
	if critical && p.late > 0 {
		pr.value(p, li, i, o, true)
		out = pr.offeredNow(p, i, o, units, true, out)
		slices.SortStableFunc(out, func(a, b option) int { return cmp.Compare(a.time, b.time) })
	}
	return out, set
}

// offeredNow adds the options for what rolls are worth as value left it.
func (pr *pricing) offeredNow(p *prices, i int, o *offer, units int, early bool, out []option) []option {
	rx := pr.rx
	for len(pr.prefix) < len(o.kinds) {
		pr.prefix = append(pr.prefix, nil)
	}
	any := false
	for n, k := range o.kinds {
		sums := append(pr.prefix[n][:0], 0)
		var sum, rolls int64
		for _, t := range pr.ranked(o, k) {
			any = true
			for range rx.types[t].n {
				if rolls%o.box.holds[n] == 0 {
					if len(sums) == o.box.size[n] {
						break
					}
					sums = append(sums, sum) // the best in one more reel
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
	perRun := p.run
	for _, r := range rx.byRow[i] {
		if row := &rx.rows[r]; p.row[r] > 0 && row.perRun != nil {
			perRun += p.row[r] * row.perRun(o)
		}
	}
	for len(pr.best) <= units {
		pr.best = append(pr.best, option{})
	}
	for t := range units + 1 {
		pr.best[t] = option{}
	}
	pr.scan(o, perRun, units)
	var most int64
	for t := range units + 1 {
		if b := pr.best[t]; b.value > most {
			most = b.value
			out = append(out, option{t, b.value, b.cell, early})
		}
	}
	return out
}

// scan goes through all numbers of rolls worth something and keeps the best by
// time.
func (pr *pricing) scan(o *offer, perRun int64, units int) {
	b := o.box
	dims := len(b.size)
	unit := pr.rx.unit
	var walk func(d, cell int, value, loading int64)
	walk = func(d, cell int, value, loading int64) {
		sums := pr.prefix[d]
		if d == dims-1 {
			base := cell * b.size[d]
			for n := range sums {
				runs := int64(b.runs[base+n])
				if runs == 0 || runs > int64(b.most) {
					continue
				}
				load := loading + int64(n)*o.loads[d]
				at := int((runs*o.perRun + max(runs*o.warm, load)) / unit)
				if at > units {
					continue
				}
				if v := value + sums[n] - runs*perRun; v > pr.best[at].value {
					pr.best[at].value, pr.best[at].cell = v, base+n
				}
			}
			return
		}
		for n := range sums {
			walk(d+1, cell*b.size[d]+n, value+sums[n], loading+int64(n)*o.loads[d])
		}
	}
	walk(0, 0, 0, 0)
}

const impossibly = -1 << 60

// best finds the content of session i that is worth most, and what. Nothing is
// worth 0.
func (pr *pricing) session(p *prices, li *limits, i int) int64 {
	rx := pr.rx
	se := &rx.sess[i]
	length := min(se.length, li.length[i])
	if length < 0 {
		return 0
	}
	if len(pr.worth) == 0 {
		pr.worth = make([]int64, len(rx.types))
	}
	rx.spent += int64(len(se.offers)) * 4_000
	units, flush := int(length/rx.unit), int(rx.flush(i)/rx.unit)
	width, slots := units+flush+1, 1
	for len(pr.options) < len(se.offers) {
		pr.options, pr.choice, pr.took = append(pr.options, nil), append(pr.choice, nil), append(pr.took, nil)
		pr.set, pr.slot = append(pr.set, 0), append(pr.slot, 0)
	}
	for k := range se.offers {
		o := &se.offers[k]
		pr.options[k], pr.set[k] = pr.offered(p, li, i, o, units, pr.options[k])
		pr.slot[k] = int((o.perRun + o.warm) / rx.slotOf(i))
		if slices.ContainsFunc(pr.options[k], func(op option) bool { return op.early }) {
			slots = rx.slots(i) + 1
		}
	}
	pr.width, pr.slots = width, slots
	pr.f = append(pr.f[:0], make([]int64, width*slots)...)
	for k := 0; k < len(se.offers); {
		first, any := k, false
		process := rx.leads[se.offers[k].lead].process
		for ; k < len(se.offers) && rx.leads[se.offers[k].lead].process == process; k++ {
			any = any || len(pr.options[k]) > 0
		}
		if pr.took[first] = pr.took[first][:0]; any {
			pr.packGroup(first, k, flush)
		}
	}
	return max(pr.f[len(pr.f)-1], 0)
}

// packGroup adds the options of the offers of one process, after a flush, to
// what was reached before them.
func (pr *pricing) packGroup(first, end, flush int) {
	width, slots := pr.width, pr.slots
	pr.g = append(pr.g[:0], make([]int64, width*slots)...)
	for e := range slots {
		row := pr.g[e*width : (e+1)*width]
		for t := range flush {
			row[t] = impossibly
		}
		copy(row[flush:], pr.f[e*width:])
	}
	for k := first; k < end; k++ {
		if pr.choice[k] = pr.choice[k][:0]; len(pr.options[k]) > 0 {
			pr.pack(k)
		}
	}
	pr.took[first] = append(pr.took[first], make([]bool, width*slots)...)
	for t, v := range pr.g {
		if v > pr.f[t] {
			pr.f[t], pr.took[first][t] = v, true
		}
	}
}

// pack adds one option of an offer at most to what was reached before it.
func (pr *pricing) pack(k int) {
	width := pr.width
	pr.rx.spent += int64(pr.slots) * int64(width) * int64(2+len(pr.options[k]))
	pr.before = append(pr.before[:0], pr.g...)
	choice := append(pr.choice[k], make([]int32, len(pr.g))...)
	pr.choice[k] = choice
	for n, op := range pr.options[k] {
		shift := 0 // rows that an early run takes
		if op.early {
			shift = pr.slot[k]
		}
		for e := shift; e < pr.slots; e++ {
			from := pr.before[(e-shift)*width : (e-shift+1)*width-op.time]
			to := pr.g[e*width+op.time : (e+1)*width][:len(from)]
			chosen := choice[e*width+op.time : (e+1)*width][:len(from)]
			for t, v := range from {
				if v += op.value; v > to[t] {
					to[t], chosen[t] = v, int32(n+1)
				}
			}
		}
	}
}

// content reads off what session found.
func (pr *pricing) content(p *prices, li *limits, i int) content {
	rx := pr.rx
	se := &rx.sess[i]
	c := content{sess: i}
	flush := int(rx.flush(i) / rx.unit)
	t, e := pr.width-1, pr.slots-1
	for k := len(se.offers); k > 0; {
		process := rx.leads[se.offers[k-1].lead].process
		first := k - 1
		for first > 0 && rx.leads[se.offers[first-1].lead].process == process {
			first--
		}
		if len(pr.took[first]) == 0 || !pr.took[first][e*pr.width+t] {
			k = first
			continue
		}
		for k--; k >= first; k-- {
			if len(pr.choice[k]) == 0 {
				continue
			}
			if n := pr.choice[k][e*pr.width+t]; n > 0 {
				op := pr.options[k][n-1]
				pr.fill(p, li, &c, k, op)
				t -= op.time
				if op.early {
					e -= pr.slot[k]
				}
			}
		}
		k = first
		t -= flush
		c.length += rx.flush(i)
	}
	c.length -= rx.flush(i)
	return c
}

// fill adds the rolls of an option to a content.
func (pr *pricing) fill(p *prices, li *limits, c *content, k int, op option) {
	rx := pr.rx
	o := &rx.sess[c.sess].offers[k]
	set, _ := pr.value(p, li, c.sess, o, op.early)
	numbers := make([]int, len(o.kinds))
	for d, cell := len(o.kinds)-1, op.cell; d >= 0; d-- {
		numbers[d] = cell % o.box.size[d]
		cell /= o.box.size[d]
	}
	var loading int64
	for d, kind := range o.kinds {
		left := int64(numbers[d]) * o.box.holds[d]
		loading += int64(numbers[d]) * o.loads[d]
		for _, t := range pr.ranked(o, kind) {
			if n := min(left, rx.types[t].n); n > 0 {
				c.items = append(c.items, item{t, set, n, op.early})
				left -= n
			}
		}
	}
	runs := int64(o.box.runs[op.cell])
	c.loads = append(c.loads, load{k, set, runs, numbers})
	c.length += runs*o.perRun + max(runs*o.warm, loading)
}
