package planner

import "cmp"

// A packer fills the time of a session: of each way one option at most, ways of
// one process together and the flush between processes, the early part besides.
// That is a knapsack of classes (Sinha & Zoltners 1979), solved by dynamic
// programming over what is not dominated and, by the linear program of what is
// left, could still be best (Pisinger 1995).
type packer struct {
	labels []label
	best   int32 // the label worth most

	lists  [][]int32 // to use again
	bucket []int32   // by time: the first label there
	next   []int32   // by label: another of the same time
	most   []int64   // by slots: the greatest value so far
	upper  [][]int64 // by way and time: what the ways from it on are worth at most
	steps  []hullStep
	merged []hullStep
}

// A label is a way of filling some of the time.
type label struct {
	time, slots  int32
	before       int32 // the label it adds to
	menu, option int32 // what it adds; menu −1: a flush
	value        int64
}

// A hullStep is one stretch of the upper hull of a way's options.
type hullStep struct {
	time  int32
	value int64
}

// better says that a stretch is worth more by time.
func (a hullStep) better(b hullStep) int {
	return cmp.Compare(float64(b.value)*float64(a.time), float64(a.value)*float64(b.time))
}

// fill finds the value of the best filling of so many units of time and slots.
func (pa *packer) fill(menus []menu, units, flush, slots int) int64 {
	room := int32(units + flush) // #nosec G115 -- bounded by mostUnits
	pa.bound(menus, int(room))
	pa.labels = append(pa.labels[:0], label{menu: -1})
	pa.next = append(pa.next[:0], -1)
	pa.best = 0
	for len(pa.bucket) <= int(room) {
		pa.bucket = append(pa.bucket, -1)
	}
	for len(pa.most) < slots {
		pa.most = append(pa.most, 0)
	}
	done := append(pa.list(), 0) // labels of the processes before, by time
	for k := 0; k < len(menus); {
		from := k
		some := false
		for more := true; more; more = k < len(menus) && !menus[k].first {
			some = some || len(menus[k].options) > 0
			k++
		}
		if !some {
			continue
		}
		group := pa.list() // of this process too
		for _, l := range done {
			at := pa.labels[l]
			if at.time += int32(flush); at.time <= room && pa.hopes(from, room-at.time, at.value) { // #nosec G115
				at.before, at.menu = l, -1
				group = append(group, pa.put(at))
			}
		}
		for ; from < k; from++ {
			group = pa.extend(group, menus, from, room, slots)
		}
		for _, l := range group {
			pa.hang(l)
		}
		pa.lists = append(pa.lists, group)
		done = pa.merge(done, slots)
	}
	pa.lists = append(pa.lists, done)
	return pa.labels[pa.best].value
}

// list is an empty list.
func (pa *packer) list() []int32 {
	n := len(pa.lists)
	if n == 0 {
		return nil
	}
	l := pa.lists[n-1]
	pa.lists = pa.lists[:n-1]
	return l[:0]
}

// bound works out, for the ways from each on, what time can be worth at most.
func (pa *packer) bound(menus []menu, room int) {
	for len(pa.upper) <= len(menus) {
		pa.upper = append(pa.upper, nil)
	}
	pa.steps = pa.steps[:0]
	var free int64 // what takes no time is worth
	for k := len(menus); k >= 0; k-- {
		if k < len(menus) {
			free += pa.addHull(menus[k].options)
		}
		u := append(pa.upper[k][:0], free)
		for _, st := range pa.steps {
			each := st.value/int64(st.time) + 1
			from := u[len(u)-1]
			for t := int64(1); t < int64(st.time) && len(u) <= room; t++ {
				u = append(u, from+min(each*t, st.value))
			}
			if len(u) <= room {
				u = append(u, from+st.value)
			}
		}
		for len(u) <= room {
			u = append(u, u[len(u)-1])
		}
		pa.upper[k] = u
	}
}

// addHull merges the stretches of the hull of some options, by time, into the
// steps, the best first. It gives the worth of those that take no time.
func (pa *packer) addHull(options []option) int64 {
	at := option{}
	for len(options) > 0 && options[0].time == 0 {
		at, options = option{value: max(at.value, options[0].value)}, options[1:]
	}
	free := at.value
	var hull []hullStep
	for {
		best, to := hullStep{time: 1}, -1
		for n, op := range options {
			st := hullStep{int32(op.time - at.time), op.value - at.value} // #nosec G115 -- bounded by mostUnits
			if st.time > 0 && st.value > 0 && st.better(best) <= 0 {
				best, to = st, n
			}
		}
		if to < 0 {
			break
		}
		hull = append(hull, best)
		at = options[to]
	}
	pa.merged = pa.merged[:0]
	for _, st := range pa.steps {
		for len(hull) > 0 && hull[0].better(st) < 0 {
			pa.merged, hull = append(pa.merged, hull[0]), hull[1:]
		}
		pa.merged = append(pa.merged, st)
	}
	pa.merged = append(pa.merged, hull...)
	pa.steps, pa.merged = pa.merged, pa.steps
	return free
}

// hopes says that a label of a value with so much room for the ways from k on
// might yet be worth more than the best.
func (pa *packer) hopes(k int, room int32, value int64) bool {
	return value+pa.upper[k][room] > pa.labels[pa.best].value
}

func (pa *packer) put(l label) int32 {
	pa.labels = append(pa.labels, l)
	pa.next = append(pa.next, -1)
	at := int32(len(pa.labels) - 1) // #nosec G115
	if l.value > pa.labels[pa.best].value {
		pa.best = at
	}
	return at
}

// hang puts a label where its time is.
func (pa *packer) hang(l int32) {
	t := pa.labels[l].time
	pa.next[l], pa.bucket[t] = pa.bucket[t], l
}

// extend adds one option of a way at most to each label.
func (pa *packer) extend(group []int32, menus []menu, k int, room int32, slots int) []int32 {
	options := menus[k].options
	if len(options) == 0 {
		return group
	}
	for _, l := range group {
		at := pa.labels[l]
		if !pa.hopes(k, room-at.time, at.value) {
			continue
		}
		for n := range options {
			op := &options[n]
			to := label{at.time + int32(op.time), at.slots + op.slots, l, int32(k), int32(n), at.value + op.value} // #nosec G115
			if to.time > room {
				break
			}
			if int(to.slots) >= slots {
				continue
			}
			if to.value <= pa.labels[pa.best].value && !pa.hopes(k+1, room-to.time, to.value) {
				continue
			}
			pa.hang(pa.put(to))
		}
	}
	return pa.merge(group, slots)
}

// merge gives the labels of a list, sorted by time, and of the buckets that no
// other dominates; it empties the buckets.
func (pa *packer) merge(list []int32, slots int) []int32 {
	most := pa.most[:slots]
	for i := range most {
		most[i] = -1
	}
	merged, old := pa.list(), list
	keep := func(l int32) {
		at := &pa.labels[l]
		for _, v := range most[:at.slots+1] {
			if v >= at.value {
				return
			}
		}
		most[at.slots] = at.value
		merged = append(merged, l)
	}
	for t := range pa.bucket {
		for len(list) > 0 && int(pa.labels[list[0]].time) == t {
			keep(list[0])
			list = list[1:]
		}
		for l := pa.bucket[t]; l >= 0; l = pa.next[l] {
			keep(l)
		}
		pa.bucket[t] = -1
	}
	pa.lists = append(pa.lists, old)
	return merged
}
