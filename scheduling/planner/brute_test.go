package planner_test

import (
	"slices"
	"time"

	"wetside/lab/units"
	"wetside/scheduling/planner"
)

// A brute finds the best worth of a tiny problem by trying every grouping,
// session, bath set, mixing batch, cabinet and start on the grid. It follows
// the package documentation and shares nothing with the search or the checker.
type brute struct {
	p       *planner.Problem
	batches []*bruteBatch
	out     []int // rolls left out
	best    [6]int64
	found   bool
}

type bruteBatch struct {
	sess, set  int
	rolls      []int
	cabs       []int
	mixes      bool
	class      *planner.Class
	reels      map[string]int64
	start      int // all in ticks
	mixed, wet int
	end, clear int
}

func find[T any](list []T, ok func(*T) bool) *T {
	for i := range list {
		if ok(&list[i]) {
			return &list[i]
		}
	}
	return nil
}

func (br *brute) class(id string) *planner.Class {
	return find(br.p.Classes, func(c *planner.Class) bool { return c.ID == id })
}
func (br *brute) bath(id string) *planner.Bath {
	return find(br.p.Baths, func(b *planner.Bath) bool { return b.ID == id })
}
func (br *brute) kind(id string) *planner.ReelKind {
	return find(br.p.Reels, func(k *planner.ReelKind) bool { return k.Kind == id })
}
func (br *brute) tank(sess int) *planner.Tank {
	return find(br.p.Tanks, func(t *planner.Tank) bool { return t.ID == br.p.Sessions[sess].Tank })
}

// shift keeps ticks before the horizon positive.
const shift = 200

func toTick(t time.Time) int         { return int(t.Sub(monday)/tick.Std()) + shift }
func spanTicks(d units.Duration) int { return int(d / tick) }
func ceil(a, b int64) int64          { return (a + b - 1) / b }
func (br *brute) held(r int) (s string) {
	s = br.p.Rolls[r].Booked
	for _, h := range br.p.Pins {
		if h.Roll == br.p.Rolls[r].ID {
			s = h.Session
		}
	}
	return s
}

// bestWorth gives the least values of the six levels, in order.
func bestWorth(p *planner.Problem) [6]int64 {
	br := &brute{p: p}
	br.assign(0)
	return br.best
}

// assign decides for each roll: left out, into a batch there is, or a new one.
func (br *brute) assign(r int) {
	if r == len(br.p.Rolls) {
		br.choose(0)
		return
	}
	for i := range br.batches {
		b := br.batches[i]
		b.rolls = append(b.rolls, r)
		if br.sound(b) {
			br.assign(r + 1)
		}
		b.rolls = b.rolls[:len(b.rolls)-1]
		br.sound(b) // its class and reels again
	}
	for s := range br.p.Sessions {
		for set := range br.p.BathSets {
			b := &bruteBatch{sess: s, set: set, rolls: []int{r}}
			br.batches = append(br.batches, b)
			if br.sound(b) {
				br.assign(r + 1)
			}
			br.batches = br.batches[:len(br.batches)-1]
		}
	}
	br.out = append(br.out, r)
	if !br.worse() {
		br.assign(r + 1)
	}
	br.out = br.out[:len(br.out)-1]
}

// worse says that what is left out makes the plan worse than the best already.
func (br *brute) worse() bool {
	if !br.found {
		return false
	}
	w := br.outWorth()
	return w[0] > br.best[0] || w[0] == br.best[0] && w[1] > br.best[1]
}

func (br *brute) outWorth() (w [6]int64) {
	days := br.p.LeftOutDays
	if days == 0 {
		days = 14
	}
	for _, r := range br.out {
		if br.held(r) != "" {
			w[0]++
		}
		roll := &br.p.Rolls[r]
		w[1] += max(roll.Weight, 1) * (days + daysLate(roll, br.p.Horizon.End))
	}
	return w
}

func daysLate(r *planner.Roll, at time.Time) int64 {
	if r.Due == nil || !at.After(*r.Due) {
		return 0
	}
	return ceil(int64(at.Sub(*r.Due)/time.Second), 86400)
}

// sound checks what does not depend on time, for one batch.
func (br *brute) sound(b *bruteBatch) bool {
	p, tank, sess := br.p, br.tank(b.sess), &br.p.Sessions[b.sess]
	set := &p.BathSets[b.set]
	var area, height, need int64
	films := map[string]int64{}
	b.class = br.class(p.Rolls[b.rolls[0]].Class)
	short := b.class
	for _, r := range b.rolls {
		roll := &p.Rolls[r]
		if h := br.held(r); h != "" && h != sess.ID {
			return false
		}
		for _, ban := range p.Bans {
			if ban.Roll == roll.ID && (ban.Session == "" || ban.Session == sess.ID) {
				return false
			}
		}
		c := br.class(roll.Class)
		if len(sess.Processes) > 0 && !slices.Contains(sess.Processes, c.Process) || !slices.Contains(set.Processes, c.Process) || !slices.Contains(tank.Reels, roll.Reel) {
			return false
		}
		if c.ID != b.class.ID && !(c.Shareable && b.class.Shareable && c.Process == b.class.Process) {
			return false
		}
		if c.Developing > b.class.Developing || c.Developing == b.class.Developing && c.ID < b.class.ID {
			b.class = c
		}
		if c.Developing < short.Developing {
			short = c
		}
		area += roll.AreaMM2
		films[roll.Reel]++
	}
	if int64(b.class.Developing-short.Developing)*1000 > p.TolerancePermille*int64(short.Developing) {
		return false
	}
	b.reels = map[string]int64{}
	for name, n := range films {
		k := br.kind(name)
		b.reels[name] = ceil(n, max(k.Holds, 1))
		height += b.reels[name] * k.HeightMM
		need += b.reels[name] * k.SolutionML
		if b.reels[name] > k.Count {
			return false
		}
	}
	if height > tank.HeightMM || need > tank.VolumeML {
		return false
	}
	for _, id := range set.Baths {
		bath := br.bath(id)
		if need > bath.VolumeML || bath.RunMM2PerL != nil && area*1000 > *bath.RunMM2PerL*min(bath.VolumeML, tank.VolumeML) {
			return false
		}
		if !br.enough(bath) {
			return false
		}
	}
	return true
}

// enough sums what all batches and frozen ones take of a bath.
func (br *brute) enough(bath *planner.Bath) bool {
	var area, runs, drawn int64
	take := func(films []planner.Roll, reels map[string]int64) {
		var a, need int64
		for _, f := range films {
			a += f.AreaMM2
		}
		for name, n := range reels {
			need += n * br.kind(name).SolutionML
		}
		if bath.RunMM2PerL != nil {
			need = max(need, ceil(a*1000, *bath.RunMM2PerL))
		}
		area, runs, drawn = area+a, runs+1, drawn+need
	}
	for _, b := range br.batches {
		if slices.Contains(br.p.BathSets[b.set].Baths, bath.ID) {
			var films []planner.Roll
			for _, r := range b.rolls {
				films = append(films, br.p.Rolls[r])
			}
			take(films, b.reels)
		}
	}
	for _, f := range br.p.Frozen {
		if slices.Contains(find(br.p.BathSets, func(s *planner.BathSet) bool { return s.ID == f.BathSet }).Baths, bath.ID) {
			take(f.Films, map[string]int64{f.Reels[0].Kind: f.Reels[0].Count})
		}
	}
	return (bath.AreaLeftMM2 == nil || area <= *bath.AreaLeftMM2) && (bath.RunsLeft == nil || runs <= *bath.RunsLeft) && (!bath.OneShot || drawn <= bath.VolumeML)
}

// choose decides, set by set, which batch mixes it; then the starts.
func (br *brute) choose(set int) {
	if set == len(br.p.BathSets) {
		br.starts(0)
		return
	}
	used := false
	for _, b := range br.batches {
		if b.set == set && br.p.BathSets[set].Mix != nil {
			used = true
			b.mixes = true
			br.choose(set + 1)
			b.mixes = false
		}
	}
	if !used {
		br.choose(set + 1)
	}
}

// starts tries every start and cabinet of each batch.
func (br *brute) starts(i int) {
	if i == len(br.batches) {
		br.judge()
		return
	}
	b := br.batches[i]
	sess, tank := &br.p.Sessions[b.sess], br.tank(b.sess)
	var loading, mix units.Duration
	for name, n := range b.reels {
		loading += units.Duration(n) * br.kind(name).Loading
	}
	if b.mixes {
		mix = br.p.BathSets[b.set].Mix.Takes
	}
	prep := max(loading, tank.WarmUp[b.class.Process])
	for b.start = toTick(sess.Start); ; b.start++ {
		b.mixed = b.start + spanTicks(mix)
		b.wet = b.mixed + spanTicks(prep)
		b.end = b.wet + spanTicks(b.class.Wet)
		b.clear = b.end + spanTicks(tank.CleanUp)
		if b.clear > toTick(sess.End) || b.clear > toTick(br.p.Horizon.End) {
			return
		}
		in := !slices.ContainsFunc(b.rolls, func(r int) bool { return toTick(br.p.Rolls[r].HandedIn) > b.start })
		if in && b.start >= shift && br.apart(b, br.batches[:i]) {
			br.cabinets(i, nil)
		}
	}
}

func (br *brute) cabinets(i int, chosen []int) {
	b := br.batches[i]
	if len(chosen) < len(b.rolls) {
		for c := range br.p.Cabinets {
			if br.p.Cabinets[c].Takes[br.p.Rolls[b.rolls[len(chosen)]].Hang] > 0 {
				br.cabinets(i, append(slices.Clone(chosen), c))
			}
		}
		return
	}
	b.cabs = chosen
	if br.hang(br.batches[:i+1]) {
		br.starts(i + 1)
	}
}
