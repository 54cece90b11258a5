package planner

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"wetside/scheduling/planner/packing"
)

// packingOf is the problem of putting rolls into the fewest runs by what one
// run can hold at most, in any session open to them: stack height, solution,
// film area, and reels of each kind. Without dimensions nothing bounds a run.
// The items are rolls alike in kind and area; of gives the rolls of each.
//
// Every plan that has these rolls in runs of their own is a packing, so the
// packing's bound is one of runs. A packing is runs where there is one tank and
// each reel holds one roll.
func (m *model) packingOf(rolls []int) (p packing.Problem, of [][]int) {
	type like struct {
		kind int
		area int64
	}
	at := make(map[like]int)
	for _, i := range rolls {
		key := like{m.rolls[i].kind, m.rolls[i].area}
		k, ok := at[key]
		if !ok {
			k = len(of)
			at[key] = k
			of = append(of, nil)
		}
		of[k] = append(of[k], i)
	}
	p.Items = make([]packing.Item, len(of))
	for k := range of {
		p.Items[k].Count = len(of[k])
	}
	room := m.largestBatch(rolls)
	shares := m.reelShares(of)
	bind := func(capacity int64, size func(r *rollM) int64) {
		var sum int64
		for k := range of {
			sum += size(&m.rolls[of[k][0]]) * int64(len(of[k]))
		}
		if sum <= capacity {
			return
		}
		p.Capacity = append(p.Capacity, capacity)
		for k := range of {
			// What does not fit alone is in no run, and counts as what just does.
			p.Items[k].Size = append(p.Items[k].Size, min(size(&m.rolls[of[k][0]]), capacity))
		}
	}
	bind(room.height*shares, func(r *rollM) int64 { return m.kinds[r.kind].height * shares / m.kinds[r.kind].holds })
	bind(room.solution*shares, func(r *rollM) int64 { return m.kinds[r.kind].solution * shares / m.kinds[r.kind].holds })
	bind(room.area, func(r *rollM) int64 { return r.area })
	for kind := range m.kinds {
		bind(m.kinds[kind].count*m.kinds[kind].holds, func(r *rollM) int64 {
			if r.kind == kind {
				return 1
			}
			return 0
		})
	}
	return p, of
}

// mostShares bounds the parts into which a reel that holds several is divided;
// beyond it they are rounded down.
const mostShares = 1_000

// reelShares is a number that the rolls' reels divide into parts for one roll.
func (m *model) reelShares(of [][]int) int64 {
	shares := int64(1)
	for k := range of {
		holds := m.kinds[m.rolls[of[k][0]].kind].holds
		shares = shares / gcd(shares, holds) * holds
		if shares > mostShares {
			return mostShares
		}
	}
	return shares
}

// A room is what a run can hold at most.
type room struct{ height, solution, area int64 }

// largestBatch is the most that a run of any of the rolls can hold, of each
// dimension by itself.
func (m *model) largestBatch(rolls []int) room {
	var out room
	classes := make([]bool, len(m.class))
	open := make([]bool, len(m.sess))
	for _, i := range rolls {
		classes[m.rolls[i].class] = true
		for _, s := range m.rolls[i].sessions {
			open[s] = true
		}
	}
	for s, ok := range open {
		if !ok {
			continue
		}
		tank := &m.tanks[m.sess[s].tank]
		out.height = max(out.height, tank.height)
		for class, ok := range classes {
			if !ok {
				continue
			}
			for _, set := range m.setsOf[m.class[class].process] {
				solution, area := tank.volume, int64(math.MaxInt32)*1000
				for _, b := range m.sets[set].baths {
					ba := &m.baths[b]
					solution = min(solution, ba.volume)
					if ba.run >= 0 {
						area = min(area, ba.run*min(ba.volume, tank.volume)/1000)
					}
				}
				out.solution, out.area = max(out.solution, solution), max(out.area, area)
			}
		}
	}
	return out
}

// The packing's work is bounded by a constant, which one core of 2024 does well
// within the default budget; a longer budget allows for more. So work ends it,
// not the clock, and the plan is the same everywhere.
const (
	alikeWork     = 6_000_000_000
	workPerSecond = 200_000_000
)

// improvable is up to how many rolls the search at large still looks for an
// earlier finish when the fewest runs are proved.
const improvable = 200

// solveAlike plans a problem in which only the number of runs and the time
// matter: one class, one tank, no roll held, banned or planned before, nothing
// frozen. Then the fewest runs are an exact packing, and runs follow each
// other. It gives nil when the problem is another one, and when the plan so made
// leaves something to better that the search at large can: it has it as its
// best to begin from then, and floor as bounds.
func (sr *search) solveAlike(ctx context.Context, deadline time.Time, upTo int) (pl *Plan, floor *[6]int64) {
	m := sr.m
	if !m.plain() {
		return nil, nil
	}
	rolls := make([]int, len(m.rolls))
	for i := range rolls {
		rolls[i] = i
	}
	p, of := m.packingOf(rolls)
	if len(p.Capacity) == 0 {
		return nil, nil // one run takes all: the search finds it at once
	}
	// A quarter of the time is left to the search, should the packing not end.
	ctx, cancel := context.WithTimeout(ctx, time.Until(deadline)*3/4)
	defer cancel()
	res, err := packing.Solve(ctx, &p, packing.Limits{Work: max(alikeWork, int64(m.p.Search.Budget)*workPerSecond)})
	if err != nil {
		return nil, nil
	}
	sr.s.reset()
	if !sr.layOut(res.Packing, of) {
		return nil, nil
	}
	w := sr.s.value()
	sr.keep(w)
	sr.record()
	proof := [6]int64{runs: int64(res.Bound), finish: m.finishOf(int64(res.Bound))}
	better := w[displaced]+w[lateness]+w[chemistry]+w[changes] > 0 ||
		upTo > finish && w[runs] == proof[runs] && w[finish] > proof[finish] && len(m.rolls) <= improvable
	if better {
		return nil, &proof
	}
	pl = sr.plan((&bounds{m: m, given: &proof}).proofs(0), res.Complete)
	sr.tell(pl)
	return pl, nil
}

// plain says that rolls differ in nothing but reel, area, cabinet and dates.
func (m *model) plain() bool {
	if len(m.p.Frozen) > 0 || len(m.p.Bans) > 0 || len(m.rolls) == 0 {
		return false
	}
	first := &m.rolls[0]
	for i := range m.rolls {
		r := &m.rolls[i]
		if r.class != first.class || r.held != noHold || r.tracked || len(r.sessions) == 0 ||
			len(r.sessions) != len(first.sessions) || m.kinds[r.kind].holds != 1 {
			return false
		}
	}
	tank := m.sess[first.sessions[0]].tank
	return !slices.ContainsFunc(first.sessions, func(s int) bool { return m.sess[s].tank != tank })
}

// layOut places the runs of a packing one after another, those that can begin
// first before the others, then those that take longest to load, each in the
// first session that has a place. It says whether all have one.
func (sr *search) layOut(pk []packing.Bin, of [][]int) bool {
	m, s := sr.m, sr.s
	next := make([]int, len(of))
	type run struct {
		rolls []int
		in    int64
		load  int64
	}
	var all []run
	for k := range of {
		slices.SortStableFunc(of[k], func(a, b int) int { return cmp.Compare(m.rolls[a].in, m.rolls[b].in) })
	}
	for _, bin := range pk {
		for range bin.Times {
			var b run
			for _, part := range bin.Parts {
				for range part.Count {
					i := of[part.Item][next[part.Item]]
					next[part.Item]++
					b.rolls, b.in, b.load = append(b.rolls, i), max(b.in, m.rolls[i].in), b.load+m.kinds[m.rolls[i].kind].load
				}
			}
			all = append(all, b)
		}
	}
	slices.SortStableFunc(all, func(a, b run) int { return cmp.Or(cmp.Compare(a.in, b.in), cmp.Compare(b.load, a.load)) })
	sessions := m.byStart(m.rolls[0].sessions)
	full := 0 // sessions at the front in which no run has found a place since
	for _, r := range all {
		if sr.expired() {
			return false
		}
		placed := false
		for k := full; k < len(sessions) && !placed; k++ {
			for _, set := range m.setsOf[m.class[m.rolls[0].class].process] {
				b := s.fresh(sessions[k], set)
				for _, i := range r.rolls {
					m.with(b, i)
				}
				if placed = s.place(b); placed {
					break
				}
				s.release(b)
			}
			if !placed && k == full && r.in <= m.sess[sessions[k]].start {
				full++
			}
		}
		if !placed {
			return false
		}
	}
	return true
}

// finishOf is when the last film is dry at the soonest when a number of runs
// must be done in the one tank there is, within its sessions: counted by the
// shortest that a run can be, and summed up, for all reels must be loaded.
func (m *model) finishOf(number int64) int64 {
	first := &m.rolls[0]
	cl := &m.class[first.class]
	tank := &m.tanks[m.sess[first.sessions[0]].tank]
	load, dry, loads := int64(never), int64(never), int64(0)
	for i := range m.rolls {
		load = min(load, m.kinds[m.rolls[i].kind].load)
		loads += m.kinds[m.rolls[i].kind].load
		dry = min(dry, m.rolls[i].fastest)
	}
	warm := tank.warm[cl.process]
	stay := max(warm, load) + cl.wet + tank.clean
	total := number*(cl.wet+tank.clean) + max(number*warm, loads)
	var counted, summed int64
	for _, s := range m.byStart(first.sessions) {
		se := &m.sess[s]
		length := max(se.end-se.start, 0)
		here := length / stay
		if counted == 0 && number <= here {
			counted = se.start + number*stay
		}
		if summed == 0 && total <= length {
			summed = se.start + total
		}
		number -= here
		total -= length
	}
	if last := max(counted, summed); last > 0 {
		return last - tank.clean + dry
	}
	return 0
}

// packedWork bounds the packing behind one bound: some hundredths of a second,
// and most end in thousandths.
const packedWork = 20_000_000

// packedRuns is the least number of runs for rolls of one group by exact
// packing.
func (bd *bounds) packedRuns(rolls []int) int64 {
	key := fmt.Sprint(rolls)
	if n, ok := bd.packed[key]; ok {
		return n
	}
	n := int64(0)
	if p, _ := bd.m.packingOf(rolls); len(p.Capacity) > 0 {
		if res, err := packing.Solve(context.Background(), &p, packing.Limits{Work: packedWork}); err == nil {
			n = int64(res.Bound)
		}
	}
	if bd.packed == nil {
		bd.packed = make(map[string]int64)
	}
	bd.packed[key] = n
	return n
}

// byStart orders sessions by their start.
func (m *model) byStart(sessions []int) []int {
	out := slices.Clone(sessions)
	slices.SortStableFunc(out, func(a, b int) int { return cmp.Compare(m.sess[a].start, m.sess[b].start) })
	return out
}
