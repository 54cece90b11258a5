package planner

// compileFrozen lays the frozen batches into the base that every search
// starts from.
func (m *model) compileFrozen(ix indexes) {
	s := newState(m)
	m.base = s
	for i := range m.p.Frozen {
		f := &m.p.Frozen[i]
		sess := ix.sess[f.Session]
		tank, set, class := ix.tanks[f.Tank], ix.sets[f.BathSet], ix.class[f.Class]
		op, cl := m.sess[sess].op, &m.class[class]
		start, wet := floorSec(m.t0, f.Start), floorSec(m.t0, f.Wet)
		end, clear := ceilSec(m.t0, f.End), ceilSec(m.t0, f.Clear)
		mixed := start
		if f.Mixes {
			mixed += m.sets[set].takes
			s.mixedAt[set] = mixed
		}
		b := batch{reels: make([]int64, len(m.kinds))}
		for _, u := range f.Reels {
			k := ix.kinds[u.Kind]
			b.reels[k] += u.Count
			b.need += u.Count * m.kinds[k].solution
			b.load += u.Count * m.kinds[k].load
			s.reels[k] = append(s.reels[k], use{span{mixed, end + m.kinds[k].dry}, u.Count, nil})
		}
		s.stays[tank] = append(s.stays[tank], stay{span{start, clear}, cl.process, nil})
		s.hands[op] = append(s.hands[op], busy{span{start, mixed + b.load}, nil})
		for _, h := range cl.hands {
			s.hands[op] = append(s.hands[op], busy{span{wet + h.from, wet + h.to}, nil})
		}
		hang := make(map[string]string, len(f.Films))
		for _, film := range f.Films {
			b.area += film.AreaMM2
			hang[film.ID] = film.Hang
		}
		for _, pl := range f.Rolls {
			c := ix.cabs[pl.Cabinet]
			s.drying[c] = append(s.drying[c], use{span{end, end + m.cabs[c].dry}, m.cabs[c].hangs[hang[pl.Roll]], nil})
		}
		for _, ba := range m.sets[set].baths {
			s.spend(ba, &b, 1)
			if !m.baths[ba].oneShot {
				s.inBath[ba] = append(s.inBath[ba], busy{span{start, end}, nil})
			}
		}
	}
}
