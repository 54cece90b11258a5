package scheduling

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"time"

	"wetside/chemistry"
	"wetside/lab"
	"wetside/lab/units"
	"wetside/scheduling/planner"
)

// leftOutDays is how many days late a roll that is left out counts: two weeks,
// so that leaving it out is never better than running it late.
const leftOutDays = 14

// capped ageing: after ageWeeks a roll weighs no more for waiting longer, or
// old rolls would push aside everything that is due.
const ageWeeks = 4

// A draft is a planning problem in the making, from a shop.
type draft struct {
	*shop
	p       planner.Problem
	classes map[string]bool
	hangs   map[string]hang
}

// hang is how a roll of one format and length hangs.
type hang struct {
	format chemistry.Format
	length int64
}

// problem makes the planning problem of placing rolls in the sessions that
// overlap [from, until), beside all that stands. Rolls that are booked keep
// their sessions, which must be among these.
func (sh *shop) problem(from, until time.Time, rolls []Roll) *planner.Problem {
	d := draft{shop: sh, classes: map[string]bool{}, hangs: map[string]hang{}}
	start := later(from, sh.s.Now).Truncate(time.Minute)
	if start.Before(later(from, sh.s.Now)) {
		start = start.Add(time.Minute)
	}
	d.p = planner.Problem{
		Horizon:           planner.Window{Start: start.UTC(), End: until.Truncate(time.Second).UTC()},
		TolerancePermille: sh.s.Lab.DevelopingTolerancePermille,
		LeftOutDays:       leftOutDays,
		Tanks:             []planner.Tank{}, Reels: []planner.ReelKind{}, Cabinets: []planner.Cabinet{},
		Sessions: []planner.Session{}, Classes: []planner.Class{}, Baths: []planner.Bath{},
		BathSets: []planner.BathSet{}, Rolls: []planner.Roll{},
	}
	d.addBaths()
	for _, r := range rolls {
		d.p.Rolls = append(d.p.Rolls, d.roll(r))
	}
	for _, st := range sh.standing {
		d.p.Frozen = append(d.p.Frozen, d.frozen(st))
	}
	d.addEquipment()
	awaitKits(&d.p)
	d.addSessions()
	d.addDirections()
	d.keepOut()
	slices.SortFunc(d.p.Classes, func(a, b planner.Class) int { return cmp.Compare(a.ID, b.ID) })
	return &d.p
}

// roll is a roll as the planner sees it.
func (d *draft) roll(r Roll) planner.Roll {
	p := d.processes[r.Process]
	dev, err := p.Developing(r.Push, r.Developing)
	if err != nil {
		// The process has changed since the counter took the roll: it keeps the time it was taken at, or a length that nothing fits.
		dev = units.Day
		if r.Developing != nil {
			dev = *r.Developing
		}
	}
	out := planner.Roll{
		ID: r.ID, Class: d.class(p, r.Push, dev), AreaMM2: r.Area.Counted(), Reel: r.ReelKind,
		Hang: d.hang(r), HandedIn: r.HandedInAt, Due: r.Due, Weight: d.weight(r),
	}
	if r.Session != nil {
		if e, ok := d.sessions[*r.Session]; ok && e.End.After(d.s.Now) {
			out.Booked = *r.Session
		}
	}
	return out
}

func (d *draft) weight(r Roll) int64 {
	weeks := int64(d.s.Now.Sub(r.HandedInAt) / (7 * 24 * time.Hour))
	return r.Priority * (1 + min(max(weeks, 0), ageWeeks))
}

func (d *draft) hang(r Roll) string {
	id := r.Format + "/" + strconv.FormatInt(r.LengthMM, 10)
	d.hangs[id] = hang{format: d.formats[r.Format], length: r.LengthMM}
	return id
}

// class makes sure that the problem has the class and returns its id. Its wet
// time is the longest that any bath of the lab may yet ask for, at any
// temperature that the process corrects for, in whole minutes, so that batches
// begin on the minute.
func (d *draft) class(p chemistry.Process, push int, dev units.Duration) string {
	id := fmt.Sprintf("%s/%+d/%s", p.Code, push, dev)
	if d.classes[id] {
		return id
	}
	d.classes[id] = true
	sched := p.WorstSchedule(push, dev, d.definitions(p.Code)...)
	c := planner.Class{ID: id, Process: p.Code, Developing: dev, Wet: wholeMinutes(sched.Wet), Shareable: p.Kind.BlackAndWhite()}
	for _, t := range sched.Baths() {
		c.Steps = append(c.Steps, planner.Step{Role: t.Step.Role, Begins: t.Begins})
	}
	for _, h := range sched.Hands() {
		c.Hands = append(c.Hands, planner.Span{From: h.From, To: h.To})
	}
	d.p.Classes = append(d.p.Classes, c)
	return id
}

// wholeMinutes rounds a span up to whole minutes, one at least.
func wholeMinutes(d units.Duration) units.Duration {
	return max((d+units.Minute-1)/units.Minute, 1) * units.Minute
}

// definitions are the baths, mixed or not, that a process may run in.
func (sh *shop) definitions(process string) []chemistry.BathDefinition {
	var defs []chemistry.BathDefinition
	for _, set := range sh.sets {
		if set.Process == process {
			for _, b := range set.Baths {
				defs = append(defs, b.BathDefinition)
			}
		}
	}
	for _, k := range sh.kits {
		if k.Process == process {
			defs = append(defs, k.Baths...)
		}
	}
	return defs
}

// frozen is a standing batch as the planner sees it.
func (d *draft) frozen(st standing) planner.FrozenBatch {
	f := planner.FrozenBatch{Batch: st.placed, Films: []planner.Roll{}}
	f.Class = d.class(d.processes[st.placed.Process], st.push, st.dev)
	for _, r := range st.films {
		film := d.roll(r)
		film.Booked = ""
		f.Films = append(f.Films, film)
	}
	switch {
	case st.done:
		f.BathSet, f.Mixes = spentSet, false
		if !slices.ContainsFunc(d.p.BathSets, func(b planner.BathSet) bool { return b.ID == spentSet }) {
			d.p.BathSets = append(d.p.BathSets, planner.BathSet{ID: spentSet, Processes: []string{}, Baths: []string{}})
		}
	case !slices.ContainsFunc(d.p.BathSets, func(b planner.BathSet) bool { return b.ID == f.BathSet }):
		// Its baths are gone or its kit has expired since: it stands until the steward cancels it, on nothing.
		set := planner.BathSet{ID: f.BathSet, Processes: []string{}, Baths: []string{}}
		if f.Mixes || isPortion(f.BathSet) {
			set.Mix = &planner.Mix{Kit: f.BathSet}
		}
		d.p.BathSets = append(d.p.BathSets, set)
	}
	return f
}

// spentSet stands for the baths of batches that are run and still drying:
// what they took is counted in the baths themselves.
const spentSet = "spent"

func (d *draft) addEquipment() {
	for _, t := range d.tanks {
		out := planner.Tank{
			ID: t.ID, HeightMM: t.HeightMM, VolumeML: t.VolumeML, Reels: []string{}, WarmUp: map[string]units.Duration{},
			CleanUp: t.CleanUp, Flush: t.Flush,
		}
		if !t.OutOfOrder {
			out.Reels = d.known(t.ReelKinds)
		}
		for _, code := range d.usedProcesses() {
			if warm, ok := d.warmUp(t, code); ok && warm > 0 {
				out.WarmUp[code] = wholeMinutes(warm)
			}
		}
		d.p.Tanks = append(d.p.Tanks, out)
	}
	for _, k := range d.reels {
		d.p.Reels = append(d.p.Reels, planner.ReelKind{
			Kind: k.Code, Count: k.Count, Holds: k.Holds, HeightMM: k.HeightMM, SolutionML: k.SolutionML,
			Loading: k.Loading, Drying: k.Drying,
		})
	}
	for _, c := range d.cabinets {
		out := planner.Cabinet{ID: c.ID, Positions: c.Positions, Drying: c.Drying, Takes: map[string]int64{}}
		for _, id := range slices.Sorted(maps.Keys(d.hangs)) {
			n := chemistry.Positions(d.hangs[id].format, d.hangs[id].length, c.DropMM)
			if n > 0 && !c.OutOfOrder {
				out.Takes[id] = n
			}
		}
		d.p.Cabinets = append(d.p.Cabinets, out)
	}
}

// known leaves out the reel kinds that a tank would take and the lab does not have.
func (d *draft) known(kinds []string) []string {
	out := []string{}
	for _, code := range kinds {
		if slices.ContainsFunc(d.reels, func(k lab.ReelKind) bool { return k.Code == code }) {
			out = append(out, code)
		}
	}
	return out
}

// usedProcesses are the processes of the problem's classes, sorted.
func (d *draft) usedProcesses() []string {
	var codes []string
	for _, c := range d.p.Classes {
		codes = append(codes, c.Process)
	}
	slices.Sort(codes)
	return slices.Compact(codes)
}

func (sh *shop) warmUp(t lab.Tank, process string) (units.Duration, bool) {
	p, ok := sh.processes[process]
	if !ok {
		return 0, false
	}
	warm, err := chemistry.WarmUp(t.VolumeML, sh.s.Lab.RoomTemperature, p.WorkingTemperature(), t.HeaterW, sh.s.Lab.HeaterEfficiencyPermille)
	return warm, err == nil
}

// nothing is a process that no film has: a session for it alone takes none.
const nothing = "-"

func (d *draft) addSessions() {
	for _, id := range slices.Sorted(maps.Keys(d.sessions)) {
		e := d.sessions[id]
		// In the lab's zone: the planner's reasons give clock times as its sessions do.
		window := planner.Window{Start: e.Start.In(d.s.Lab.Location()), End: e.End.In(d.s.Lab.Location())}
		out := planner.Session{ID: e.ID, Tank: e.Tank, Window: window, Operator: e.Operator}
		at := slices.IndexFunc(d.tanks, func(t lab.Tank) bool { return t.ID == e.Tank })
		for _, code := range d.usedProcesses() {
			if _, heats := d.warmUp(d.tanks[at], code); heats && e.allows(code) && e.CancelledAt == nil {
				out.Processes = append(out.Processes, code)
			}
		}
		if len(out.Processes) == 0 {
			out.Processes = []string{nothing}
		}
		d.p.Sessions = append(d.p.Sessions, out)
	}
	slices.SortFunc(d.p.Sessions, func(a, b planner.Session) int {
		return cmp.Or(a.Start.Compare(b.Start), cmp.Compare(a.ID, b.ID))
	})
}

// addDirections adds the pins and bans that are about the problem's rolls and
// sessions. A booking made after a pin or ban that it contradicts wins.
func (d *draft) addDirections() {
	booked := map[string]string{}
	for _, r := range d.p.Rolls {
		booked[r.ID] = r.Booked
	}
	for _, pin := range d.pins {
		at, ok := booked[pin.Roll]
		if _, there := d.sessions[*pin.Session]; ok && there && (at == "" || at == *pin.Session) {
			d.p.Pins = append(d.p.Pins, planner.Hold{Roll: pin.Roll, Session: *pin.Session})
		}
	}
	for _, ban := range d.bans {
		at, ok := booked[ban.Roll]
		switch {
		case !ok:
		case ban.Session == nil && at == "":
			d.p.Bans = append(d.p.Bans, planner.Hold{Roll: ban.Roll})
		case ban.Session != nil && *ban.Session != at:
			if _, there := d.sessions[*ban.Session]; there {
				d.p.Bans = append(d.p.Bans, planner.Hold{Roll: ban.Roll, Session: *ban.Session})
			}
		}
	}
}

// keepOut keeps rolls out of sessions that members run for themselves, but for
// those booked there, and those that the steward pins there.
func (d *draft) keepOut() {
	for _, e := range d.p.Sessions {
		if d.sessions[e.ID].Kind != SelfService {
			continue
		}
		for _, r := range d.p.Rolls {
			directed := func(h planner.Hold) bool { return h.Roll == r.ID && (h.Session == e.ID || h.Session == "") }
			if r.Booked == "" && !slices.ContainsFunc(d.p.Pins, directed) && !slices.ContainsFunc(d.p.Bans, directed) {
				d.p.Bans = append(d.p.Bans, planner.Hold{Roll: r.ID, Session: e.ID})
			}
		}
	}
}
