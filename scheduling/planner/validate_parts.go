package planner

import (
	"cmp"
	"slices"
)

func (v *validator) sessions() {
	p := v.p
	v.ids("sessions", "id", len(p.Sessions), maxParts, func(i int) string { return p.Sessions[i].ID })
	order := make([]int, len(p.Sessions))
	for i, s := range p.Sessions {
		order[i] = i
		v.known(v.ix.tanks, "tank", s.Tank, "sessions", i, "tank")
		v.instant(s.Start, "sessions", i, "start")
		v.instant(s.End, "sessions", i, "end")
		if !s.Start.Before(s.End) {
			v.add(at("sessions", i, "end"), "is not after the start")
		}
	}
	slices.SortStableFunc(order, func(a, b int) int {
		x, y := &p.Sessions[a], &p.Sessions[b]
		return cmp.Or(cmp.Compare(x.Tank, y.Tank), x.Start.Compare(y.Start))
	})
	for k := 1; k < len(order); k++ {
		before, after := &p.Sessions[order[k-1]], &p.Sessions[order[k]]
		if before.Tank == after.Tank && after.Start.Before(before.End) {
			v.add(at("sessions", order[k], "start"), "overlaps session %q of the same tank", before.ID)
		}
	}
}

func (v *validator) chemistry() {
	p := v.p
	v.ids("classes", "id", len(p.Classes), maxParts, func(i int) string { return p.Classes[i].ID })
	for i, c := range p.Classes {
		if c.Process == "" {
			v.add(at("classes", i, "process"), "is empty")
		}
		v.span(c.Developing, 0, "classes", i, "developing")
		v.span(c.Wet, 1, "classes", i, "wet")
		for j, s := range c.Steps {
			if s.Begins < 0 || s.Begins > c.Wet {
				v.add(at("classes", i, "steps", j, "begins"), "is %s, want within the wet time of %s", s.Begins, c.Wet)
			}
		}
		last := int64(0)
		for j, h := range c.Hands {
			if int64(h.From) < last || h.To < h.From || h.To > c.Wet {
				v.add(at("classes", i, "hands", j), "is out of order or outside the wet time of %s", c.Wet)
			}
			last = int64(h.To)
		}
	}
	v.ids("baths", "id", len(p.Baths), maxParts, func(i int) string { return p.Baths[i].ID })
	for i, b := range p.Baths {
		v.within(b.VolumeML, 0, maxVolume, "baths", i, "volume_ml")
		if b.RunMM2PerL != nil {
			v.within(*b.RunMM2PerL, 1, maxRunArea, "baths", i, "run_mm2_per_l")
		}
		if b.AreaLeftMM2 != nil {
			v.within(*b.AreaLeftMM2, 0, maxArea, "baths", i, "area_left_mm2")
		}
		if b.RunsLeft != nil {
			v.within(*b.RunsLeft, 0, maxCount*maxCount, "baths", i, "runs_left")
		}
		if b.ExpiresAt != nil {
			v.instant(*b.ExpiresAt, "baths", i, "expires_at")
		}
		if b.Life != nil {
			v.span(*b.Life, 0, "baths", i, "life")
		}
	}
	v.bathSets()
}

func (v *validator) bathSets() {
	p := v.p
	v.ids("bath_sets", "id", len(p.BathSets), maxParts, func(i int) string { return p.BathSets[i].ID })
	sets := make(map[string]int)
	for i, s := range p.BathSets {
		seen := make(map[string]bool)
		for j, b := range s.Baths {
			known := v.known(v.ix.baths, "bath", b, "bath_sets", i, "baths", j)
			if seen[b] {
				v.add(at("bath_sets", i, "baths", j), "bath %q is in the set already", b)
			}
			seen[b] = true
			if other, ok := sets[b]; ok && known && other != i && (s.Mix != nil || p.BathSets[other].Mix != nil) && p.Baths[v.ix.baths[b]].Life != nil {
				v.add(at("bath_sets", i, "baths", j), "bath %q begins its life in set %q too", b, p.BathSets[other].ID)
			}
			sets[b] = i
		}
		v.within(s.WasteMinorPerM2, 0, maxWaste, "bath_sets", i, "waste_minor_per_m2")
		if s.Mix != nil {
			v.within(s.Mix.PriceMinor, 0, maxPrice, "bath_sets", i, "mix", "price_minor")
			v.span(s.Mix.Takes, 0, "bath_sets", i, "mix", "takes")
			if s.Mix.By != nil {
				v.instant(*s.Mix.By, "bath_sets", i, "mix", "by")
			}
		}
	}
}

func (v *validator) rolls() {
	p := v.p
	v.ids("rolls", "id", len(p.Rolls), MaxRolls, func(i int) string { return p.Rolls[i].ID })
	for i := range p.Rolls {
		v.roll(&p.Rolls[i], "rolls", i)
	}
}

func (v *validator) roll(r *Roll, parts ...any) {
	field := func(name string) []any { return append(slices.Clone(parts), name) }
	v.known(v.ix.class, "class", r.Class, field("class")...)
	v.known(v.ix.kinds, "reel kind", r.Reel, field("reel")...)
	v.within(r.AreaMM2, 1, maxArea, field("area_mm2")...)
	v.within(r.Weight, 0, maxWeight, field("weight")...)
	v.instant(r.HandedIn, field("handed_in")...)
	if r.Due != nil {
		v.instant(*r.Due, field("due")...)
	}
}

// holds refuses bookings, pins and bans that contradict each other.
func (v *validator) holds() {
	p := v.p
	type hold struct{ session, from string }
	held := make(map[string]hold)
	for i, r := range p.Rolls {
		if r.Booked != "" && v.known(v.ix.sess, "session", r.Booked, "rolls", i, "booked") {
			held[r.ID] = hold{r.Booked, at("rolls", i, "booked")}
		}
	}
	for i, h := range p.Pins {
		if !v.known(v.ix.rolls, "roll", h.Roll, "pins", i, "roll") || !v.known(v.ix.sess, "session", h.Session, "pins", i, "session") {
			continue
		}
		if other, ok := held[h.Roll]; ok && other.session != h.Session {
			v.add(at("pins", i), "pins roll %q to session %q, %s holds it to %q", h.Roll, h.Session, other.from, other.session)
			continue
		}
		held[h.Roll] = hold{h.Session, at("pins", i)}
	}
	for i, h := range p.Bans {
		if !v.known(v.ix.rolls, "roll", h.Roll, "bans", i, "roll") || h.Session != "" && !v.known(v.ix.sess, "session", h.Session, "bans", i, "session") {
			continue
		}
		if other, ok := held[h.Roll]; ok && (h.Session == "" || h.Session == other.session) {
			v.add(at("bans", i), "bans roll %q from session %q, %s holds it there", h.Roll, other.session, other.from)
		}
	}
	seen := make(map[string]int)
	for i, h := range p.Previous {
		if j, ok := seen[h.Roll]; ok {
			v.add(at("previous", i, "roll"), "%q is in %s too", h.Roll, at("previous", j))
		}
		seen[h.Roll] = i
	}
}

// frozen checks what the search takes from frozen batches: names, counts and
// the order of instants, not that they keep the rules.
func (v *validator) frozen() {
	p := v.p
	v.ids("frozen", "id", len(p.Frozen), maxParts, func(i int) string { return p.Frozen[i].ID })
	mixed := make(map[string]int)
	for i := range p.Frozen {
		f := &p.Frozen[i]
		v.known(v.ix.sess, "session", f.Session, "frozen", i, "session")
		v.known(v.ix.tanks, "tank", f.Tank, "frozen", i, "tank")
		v.known(v.ix.class, "class", f.Class, "frozen", i, "class")
		if v.known(v.ix.sets, "bath set", f.BathSet, "frozen", i, "bath_set") && f.Mixes {
			if j, ok := mixed[f.BathSet]; ok {
				v.add(at("frozen", i, "mixes"), "mixes set %q, as %s does", f.BathSet, at("frozen", j))
			}
			if p.BathSets[v.ix.sets[f.BathSet]].Mix == nil {
				v.add(at("frozen", i, "mixes"), "mixes set %q, which is mixed", f.BathSet)
			}
			mixed[f.BathSet] = i
		}
		v.instant(f.Start, "frozen", i, "start")
		v.instant(f.Clear, "frozen", i, "clear")
		if f.Wet.Before(f.Start) || f.End.Before(f.Wet) || f.Clear.Before(f.End) {
			v.add(at("frozen", i), "start, wet, end and clear are out of order")
		}
		for j, u := range f.Reels {
			v.known(v.ix.kinds, "reel kind", u.Kind, "frozen", i, "reels", j, "kind")
			v.within(u.Count, 1, maxCount, "frozen", i, "reels", j, "count")
		}
		v.films(i, f)
	}
	for i := range p.Frozen {
		set, ok := v.ix.sets[p.Frozen[i].BathSet]
		if !ok || p.BathSets[set].Mix == nil {
			continue
		}
		if _, ok := mixed[p.Frozen[i].BathSet]; !ok {
			v.add(at("frozen", i, "bath_set"), "set %q is a kit that no frozen batch mixes", p.Frozen[i].BathSet)
		}
	}
}

func (v *validator) films(i int, f *FrozenBatch) {
	names := make(map[string]bool, len(f.Films))
	for j := range f.Films {
		film := &f.Films[j]
		names[film.ID] = true
		v.within(film.AreaMM2, 0, maxArea, "frozen", i, "films", j, "area_mm2")
		if _, ok := v.ix.rolls[film.ID]; ok {
			v.add(at("frozen", i, "films", j, "id"), "%q is in /rolls too: a frozen roll is not planned again", film.ID)
		}
	}
	for j, pl := range f.Rolls {
		v.known(v.ix.cabs, "cabinet", pl.Cabinet, "frozen", i, "rolls", j, "cabinet")
		if !names[pl.Roll] {
			v.add(at("frozen", i, "rolls", j, "roll"), "%q is not among the batch's films", pl.Roll)
		}
	}
}
