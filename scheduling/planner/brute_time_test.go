package planner_test

import (
	"slices"

	"wetside/scheduling/planner"
)

// span is [from, to) in ticks.
type span struct{ from, to int }

func (a span) meets(b span) bool { return a.from < b.to && b.from < a.to }

// all gives the batches and, as batches, the frozen ones.
func (br *brute) all(batches []*bruteBatch) []*bruteBatch {
	out := slices.Clone(batches)
	for _, f := range br.p.Frozen {
		b := &bruteBatch{
			sess: slices.IndexFunc(br.p.Sessions, func(s planner.Session) bool { return s.ID == f.Session }),
			set:  slices.IndexFunc(br.p.BathSets, func(s planner.BathSet) bool { return s.ID == f.BathSet }), class: br.class(f.Class),
			reels: map[string]int64{f.Reels[0].Kind: f.Reels[0].Count}, start: toTick(f.Start), mixed: toTick(f.Start), wet: toTick(f.Wet), end: toTick(f.End), clear: toTick(f.Clear),
		}
		out = append(out, b)
	}
	return out
}

// busy are the operator's spans.
func (br *brute) busy(b *bruteBatch) []span {
	load := 0
	for name, n := range b.reels {
		load += int(n) * spanTicks(br.kind(name).Loading)
	}
	out := []span{{b.start, b.mixed + load}}
	for _, h := range b.class.Hands {
		out = append(out, span{b.wet + spanTicks(h.From), b.wet + spanTicks(h.To)})
	}
	return out
}

// apart checks tanks, operators, baths and reels of a batch against others.
func (br *brute) apart(b *bruteBatch, others []*bruteBatch) bool {
	for _, o := range br.all(others) {
		bs, os := &br.p.Sessions[b.sess], &br.p.Sessions[o.sess]
		if bs.Tank == os.Tank {
			gap := 0
			if b.class.Process != o.class.Process {
				gap = spanTicks(br.tank(b.sess).Flush)
			}
			if b.start < o.clear+gap && o.start < b.clear+gap {
				return false
			}
		}
		if bs.Operator == os.Operator && bs.Operator != "" {
			for _, x := range br.busy(b) {
				for _, y := range br.busy(o) {
					if x.meets(y) && x.from < x.to && y.from < y.to {
						return false
					}
				}
			}
		}
		for _, id := range br.p.BathSets[b.set].Baths {
			if !br.bath(id).OneShot && slices.Contains(br.p.BathSets[o.set].Baths, id) && (span{b.start, b.end}).meets(span{o.start, o.end}) {
				return false
			}
		}
	}
	together := br.all(append(slices.Clone(others), b))
	for _, k := range br.p.Reels {
		for at := b.mixed; at < b.end+spanTicks(k.Drying); at++ {
			var n int64
			for _, o := range together {
				if o.mixed <= at && at < o.end+spanTicks(k.Drying) {
					n += o.reels[k.Kind]
				}
			}
			if n > k.Count {
				return false
			}
		}
	}
	return true
}

// hang checks the cabinets, tick by tick.
func (br *brute) hang(batches []*bruteBatch) bool {
	for c, cab := range br.p.Cabinets {
		taken := map[int]int64{}
		hang := func(end int, name string) {
			for at := end; at < end+spanTicks(cab.Drying); at++ {
				taken[at] += cab.Takes[name]
			}
		}
		for _, b := range batches {
			for i, r := range b.rolls {
				if b.cabs[i] == c {
					hang(b.end, br.p.Rolls[r].Hang)
				}
			}
		}
		for _, f := range br.p.Frozen {
			if f.Rolls[0].Cabinet == cab.ID {
				hang(toTick(f.End), f.Films[0].Hang)
			}
		}
		for _, n := range taken {
			if n > cab.Positions {
				return false
			}
		}
	}
	return true
}

// alive checks mixing and the baths' lives once all starts are known.
func (br *brute) alive() bool {
	for _, b := range br.batches {
		set := &br.p.BathSets[b.set]
		mixed := 0
		if set.Mix != nil {
			for _, o := range br.batches {
				if o.set == b.set && o.mixes {
					mixed = o.mixed
					if o != b && (b.start < o.mixed) {
						return false
					}
				}
			}
			if b.mixes && set.Mix.By != nil && b.start > toTick(*set.Mix.By) {
				return false
			}
		}
		for _, st := range b.class.Steps {
			for _, id := range set.Baths {
				bath := br.bath(id)
				begins := b.wet + spanTicks(st.Begins)
				if bath.Role != st.Role {
					continue
				}
				if bath.ExpiresAt != nil && begins > toTick(*bath.ExpiresAt) || set.Mix != nil && bath.Life != nil && begins > mixed+spanTicks(*bath.Life) {
					return false
				}
			}
		}
	}
	return true
}

// judge takes the complete plan if it keeps the rest of the rules and is better.
func (br *brute) judge() {
	if !br.alive() {
		return
	}
	w := br.outWorth()
	where := map[string]string{}
	for _, b := range br.batches {
		if b.mixes {
			w[2] += br.p.BathSets[b.set].Mix.PriceMinor
		}
		w[3]++
		for i, r := range b.rolls {
			roll := &br.p.Rolls[r]
			where[roll.ID] = br.p.Sessions[b.sess].ID
			dry := b.end + spanTicks(br.p.Cabinets[b.cabs[i]].Drying)
			w[1] += max(roll.Weight, 1) * daysLate(roll, tickAt(dry-shift))
			w[4] = max(w[4], int64(dry-shift)*int64(tick))
		}
	}
	for i := range br.p.BathSets {
		w[2] += br.unused(&br.p.BathSets[i])
	}
	for _, h := range br.p.Previous {
		if where[h.Roll] != h.Session {
			w[5]++
		}
	}
	if !br.found || slices.Compare(w[:], br.best[:]) < 0 {
		br.best, br.found = w, true
	}
}

// unused is what a set's capacity that expires costs.
func (br *brute) unused(set *planner.BathSet) int64 {
	expires, least := false, int64(-1)
	for _, id := range set.Baths {
		bath := br.bath(id)
		expires = expires || bath.ExpiresAt != nil && !bath.ExpiresAt.After(br.p.Horizon.End)
		if bath.AreaLeftMM2 == nil {
			continue
		}
		left := *bath.AreaLeftMM2
		for _, b := range br.batches {
			if slices.Contains(br.p.BathSets[b.set].Baths, id) {
				for _, r := range b.rolls {
					left -= br.p.Rolls[r].AreaMM2
				}
			}
		}
		for _, f := range br.p.Frozen {
			if slices.Contains(find(br.p.BathSets, func(s *planner.BathSet) bool { return s.ID == f.BathSet }).Baths, id) {
				left -= f.Films[0].AreaMM2
			}
		}
		if left = max(left, 0); least < 0 || left < least {
			least = left
		}
	}
	if set.Mix != nil || !expires || least < 0 {
		return 0
	}
	return least * set.WasteMinorPerM2 / 1_000_000
}
