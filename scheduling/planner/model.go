package planner

import (
	"cmp"
	"math"
	"slices"
	"time"
)

const (
	never   = math.MaxInt64 / 4 // an instant that no span reaches
	day     = int64(24 * 60 * 60)
	noHold  = -1 // a roll that is not held to a session
	noPlace = -1 // a roll that was left out
	unknown = -2 // a session that the problem no longer has
)

// A model is a valid Problem in whole seconds since the horizon's start and
// in indexes for ids, so that the search touches neither text nor maps.
// Lower limits in time are rounded up and upper ones down.
type model struct {
	p     *Problem
	t0    time.Time
	end   int64
	tanks []tankM
	kinds []kindM
	cabs  []cabM
	sess  []sessM
	class []classM
	baths []bathM
	sets  []setM
	rolls []rollM

	processes []string
	operators int
	setsOf    [][]int  // by process
	waste     []int    // sets with a price on what expires unused
	types     int      // kinds of interchangeable rolls
	base      *state   // only the frozen batches
	banned    [][]bool // by roll and session
}

type tankM struct {
	height, volume, clean, flush int64
	takes                        []bool  // by kind
	warm                         []int64 // by process
}

type kindM struct{ count, holds, height, solution, load, dry int64 }

type cabM struct {
	positions, dry int64
	hangs          map[string]int64
}

type sessM struct {
	tank, op   int
	start, end int64
	process    []bool
}

type span struct{ from, to int64 }

type classM struct {
	process   int
	dev, wet  int64
	steps     []stepM
	hands     []span
	shareable bool
	rank      int // by id
}

type stepM struct {
	role   string
	begins int64
}

type bathM struct {
	role                 string
	volume, run          int64 // run < 0: no limit
	area, runs           int64 // never: no limit
	expires, life        int64 // never: no limit
	oneShot, limitedArea bool
}

type setM struct {
	baths   []int
	serves  []bool
	mix     bool
	takes   int64
	by      int64
	price   int64
	waste   int64
	carries []bool // by class: there is a bath for every step
}

type rollM struct {
	class, kind    int
	area, weight   int64
	in, due        int64
	held           int
	prev           int // session, noPlace, unknown
	tracked        bool
	open           []bool  // sessions it may run in: hold, bans, process, reel
	sessions       []int   // the same as a list
	takes          []int64 // positions by cabinet, 0: does not hang there
	fastest        int64   // drying time of the fastest of them
	out            int64   // level 2 when left out
	soonLate       int64   // level 2 at least, when placed
	waste          int64   // what placing it takes off the waste of level 3 at most, negative
	typ            int
	hangRank       int
	displacedCount int64
}

// ceilSec and floorSec are whole seconds from t0 to t.
func ceilSec(t0, t time.Time) int64 {
	s := t.Unix() - t0.Unix()
	if t.Nanosecond() > t0.Nanosecond() {
		s++
	}
	return s
}

func floorSec(t0, t time.Time) int64 {
	s := t.Unix() - t0.Unix()
	if t.Nanosecond() < t0.Nanosecond() {
		s--
	}
	return s
}

func index[T any](items []T, id func(*T) string) map[string]int {
	m := make(map[string]int, len(items))
	for i := range items {
		m[id(&items[i])] = i
	}
	return m
}

// compile turns a valid problem into a model.
func compile(p *Problem) *model {
	m := &model{p: p, t0: p.Horizon.Start, end: floorSec(p.Horizon.Start, p.Horizon.End)}
	ix := newIndexes(p)
	m.compileEquipment(ix)
	m.compileChemistry(ix)
	m.compileSessions(ix)
	m.compileRolls(ix)
	m.compileFrozen(ix)
	return m
}

// indexes finds each part of a problem by its id.
type indexes struct {
	tanks, kinds, cabs, sess, class, baths, sets, rolls, process map[string]int
}

func newIndexes(p *Problem) indexes {
	ix := indexes{
		tanks: index(p.Tanks, func(t *Tank) string { return t.ID }),
		kinds: index(p.Reels, func(r *ReelKind) string { return r.Kind }),
		cabs:  index(p.Cabinets, func(c *Cabinet) string { return c.ID }),
		sess:  index(p.Sessions, func(s *Session) string { return s.ID }),
		class: index(p.Classes, func(c *Class) string { return c.ID }),
		baths: index(p.Baths, func(b *Bath) string { return b.ID }),
		sets:  index(p.BathSets, func(s *BathSet) string { return s.ID }),
		rolls: index(p.Rolls, func(r *Roll) string { return r.ID }),
	}
	ix.process = make(map[string]int)
	for _, c := range p.Classes {
		if _, ok := ix.process[c.Process]; !ok {
			ix.process[c.Process] = len(ix.process)
		}
	}
	return ix
}

func (m *model) compileEquipment(ix indexes) {
	p := m.p
	m.processes = make([]string, len(ix.process))
	for name, i := range ix.process {
		m.processes[i] = name
	}
	for _, k := range p.Reels {
		m.kinds = append(m.kinds, kindM{
			count: k.Count, holds: max(k.Holds, 1), height: k.HeightMM, solution: k.SolutionML,
			load: int64(k.Loading), dry: int64(k.Drying),
		})
	}
	for _, t := range p.Tanks {
		tk := tankM{
			height: t.HeightMM, volume: t.VolumeML, clean: int64(t.CleanUp), flush: int64(t.Flush),
			takes: make([]bool, len(p.Reels)), warm: make([]int64, len(m.processes)),
		}
		for _, kind := range t.Reels {
			tk.takes[ix.kinds[kind]] = true
		}
		for i, name := range m.processes {
			tk.warm[i] = int64(t.WarmUp[name])
		}
		m.tanks = append(m.tanks, tk)
	}
	for _, c := range p.Cabinets {
		m.cabs = append(m.cabs, cabM{positions: c.Positions, dry: int64(c.Drying), hangs: c.Takes})
	}
}

func (m *model) compileChemistry(ix indexes) {
	p := m.p
	for _, c := range p.Classes {
		cl := classM{process: ix.process[c.Process], dev: int64(c.Developing), wet: int64(c.Wet), shareable: c.Shareable}
		for _, s := range c.Steps {
			cl.steps = append(cl.steps, stepM{s.Role, int64(s.Begins)})
		}
		for _, h := range c.Hands {
			if h.To > h.From {
				cl.hands = append(cl.hands, span{int64(h.From), int64(h.To)})
			}
		}
		m.class = append(m.class, cl)
	}
	byID := make([]int, len(p.Classes))
	for i := range byID {
		byID[i] = i
	}
	slices.SortFunc(byID, func(a, b int) int { return cmp.Compare(p.Classes[a].ID, p.Classes[b].ID) })
	for rank, c := range byID {
		m.class[c].rank = rank
	}
	or := func(v *int64, none int64) int64 {
		if v == nil {
			return none
		}
		return *v
	}
	for _, b := range p.Baths {
		ba := bathM{
			role: b.Role, volume: b.VolumeML, oneShot: b.OneShot, run: or(b.RunMM2PerL, -1),
			area: or(b.AreaLeftMM2, never), runs: or(b.RunsLeft, never), limitedArea: b.AreaLeftMM2 != nil,
			expires: never, life: never,
		}
		if b.ExpiresAt != nil {
			ba.expires = floorSec(m.t0, *b.ExpiresAt)
		}
		if b.Life != nil {
			ba.life = int64(*b.Life)
		}
		m.baths = append(m.baths, ba)
	}
	m.setsOf = make([][]int, len(m.processes))
	for i, s := range p.BathSets {
		se := setM{serves: make([]bool, len(m.processes)), carries: make([]bool, len(m.class)), by: never}
		for _, b := range s.Baths {
			se.baths = append(se.baths, ix.baths[b])
		}
		for _, name := range s.Processes {
			if pr, ok := ix.process[name]; ok && !se.serves[pr] {
				se.serves[pr] = true
				m.setsOf[pr] = append(m.setsOf[pr], i)
			}
		}
		if s.Mix != nil {
			se.mix, se.takes, se.price = true, int64(s.Mix.Takes), s.Mix.PriceMinor
			if s.Mix.By != nil {
				se.by = floorSec(m.t0, *s.Mix.By)
			}
		} else if s.WasteMinorPerM2 > 0 && m.expiresWithin(se.baths) {
			se.waste = s.WasteMinorPerM2
			m.waste = append(m.waste, i)
		}
		for c := range m.class {
			se.carries[c] = !slices.ContainsFunc(m.class[c].steps, func(st stepM) bool {
				return !slices.ContainsFunc(se.baths, func(b int) bool { return m.baths[b].role == st.role })
			})
		}
		m.sets = append(m.sets, se)
	}
}

func (m *model) expiresWithin(baths []int) bool {
	return slices.ContainsFunc(baths, func(b int) bool { return m.baths[b].expires <= m.end })
}

func (m *model) compileSessions(ix indexes) {
	operators := make(map[string]int)
	for _, s := range m.p.Sessions {
		op, ok := operators[s.Operator]
		if !ok || s.Operator == "" { // nobody in particular: never busy elsewhere
			op = m.operators
			operators[s.Operator] = op
			m.operators++
		}
		se := sessM{
			tank: ix.tanks[s.Tank], op: op, process: make([]bool, len(m.processes)),
			start: max(ceilSec(m.t0, s.Start), 0), end: min(floorSec(m.t0, s.End), m.end),
		}
		for i, name := range m.processes {
			se.process[i] = len(s.Processes) == 0 || slices.Contains(s.Processes, name)
		}
		m.sess = append(m.sess, se)
	}
}
