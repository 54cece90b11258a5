package referee_test

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"wetside/lab/units"
	"wetside/scheduling/planner"
)

// tick is what the model counts time in: all spans, windows and instants of
// the problems here are whole ticks.
const tick = 10 * units.Minute

// unit is what the model counts areas in, mm²: solvers of whole numbers have
// 32 bits of them.
const unit = 10_000

// never stands in the model for what has no end, and none for what has no limit.
const (
	never = 100_000
	none  = -1
)

// A data writes a problem as the parameters of the model.
type data struct {
	p    *planner.Problem
	text strings.Builder
	err  error // the first thing that the model has no number for
	// sessions and films in the model's order, roles, processes and hangs by it.
	sessions                []planner.Session
	films                   []film
	roles, processes, hangs []string
}

// A film is a kind of rolls that are alike in everything that planning asks.
type film struct {
	planner.Roll
	count  int
	held   string
	banned string // a bit for each session
	before int    // as film_before says
}

// modelData gives the parameters of the model for a problem.
func modelData(p *planner.Problem) (string, error) {
	d := &data{p: p, sessions: slices.Clone(p.Sessions)}
	slices.SortStableFunc(d.sessions, func(a, b planner.Session) int { return a.Start.Compare(b.Start) })
	for _, c := range p.Classes {
		d.processes = note(d.processes, c.Process)
		for _, s := range c.Steps {
			d.roles = note(d.roles, s.Role)
		}
	}
	for _, b := range p.Baths {
		d.roles = note(d.roles, b.Role)
	}
	for _, r := range p.Rolls {
		d.hangs = note(d.hangs, r.Hang)
	}
	d.findFilms()
	d.put("day", d.ticks(units.Day))
	d.put("tick_seconds", int64(tick))
	d.put("unit_mm2", unit)
	d.put("horizon", d.at(p.Horizon.End))
	d.put("left_out_days", cmp.Or(p.LeftOutDays, 14))
	d.put("tolerance_permille", p.TolerancePermille)
	d.put("processes", int64(len(d.processes)))
	d.put("roles", int64(len(d.roles)))
	d.put("hangs", int64(len(d.hangs)))
	d.equipment()
	d.times()
	d.chemistry()
	d.rolls()
	d.frozen()
	return d.text.String(), d.err
}

// note adds a name to a list that does not have it.
func note(list []string, name string) []string {
	if slices.Contains(list, name) {
		return list
	}
	return append(list, name)
}

func (d *data) fail(format string, args ...any) int64 {
	if d.err == nil {
		d.err = fmt.Errorf(format, args...)
	}
	return 0
}

func (d *data) ticks(span units.Duration) int64 {
	if span%tick != 0 {
		return d.fail("%s is not a whole number of ticks", span)
	}
	return int64(span / tick)
}

// at is an instant in ticks of the horizon; none of a problem is ever before −never.
func (d *data) at(t time.Time) int64 {
	seconds := t.Unix() - d.p.Horizon.Start.Unix()
	if seconds%int64(tick) != 0 || t.Nanosecond() != 0 {
		return d.fail("%s is not on a tick", t)
	}
	return seconds / int64(tick)
}

func (d *data) area(mm2 int64) int64 {
	if mm2%unit != 0 {
		return d.fail("%d mm² are not whole units", mm2)
	}
	return mm2 / unit
}

func (d *data) put(name string, value int64) { fmt.Fprintf(&d.text, "%s = %d;\n", name, value) }

// A value is a number or a truth, as the model writes it.
type value interface{ ~int64 | ~bool }

func show[V value](v V) string { return fmt.Sprint(v) }

// list writes an array of what of gives for each of items.
func list[T any, V value](d *data, name string, items []T, of func(T) V) {
	texts := make([]string, len(items))
	for i := range items {
		texts[i] = show(of(items[i]))
	}
	fmt.Fprintf(&d.text, "%s = [%s];\n", name, strings.Join(texts, ", "))
}

// table writes an array of two dimensions, a row for each of items.
func table[T, U any, V value](d *data, name string, items []T, across []U, of func(T, U) V) {
	var texts []string
	for i := range items {
		for j := range across {
			texts = append(texts, show(of(items[i], across[j])))
		}
	}
	fmt.Fprintf(&d.text, "%s = array2d(1..%d, 1..%d, [%s]);\n", name, len(items), len(across), strings.Join(texts, ", "))
}

// place is the number of the element that is meant, from 1, or 0.
func place[T any](items []T, is func(T) bool) int64 { return int64(slices.IndexFunc(items, is) + 1) }

func named(names []string, name string) int64 { return int64(slices.Index(names, name) + 1) }

func (d *data) equipment() {
	p := d.p
	d.put("reels", int64(len(p.Reels)))
	list(d, "reel_count", p.Reels, func(r planner.ReelKind) int64 { return r.Count })
	list(d, "reel_holds", p.Reels, func(r planner.ReelKind) int64 { return max(r.Holds, 1) })
	list(d, "reel_height", p.Reels, func(r planner.ReelKind) int64 { return r.HeightMM })
	list(d, "reel_solution", p.Reels, func(r planner.ReelKind) int64 { return r.SolutionML })
	list(d, "reel_loading", p.Reels, func(r planner.ReelKind) int64 { return d.ticks(r.Loading) })
	list(d, "reel_drying", p.Reels, func(r planner.ReelKind) int64 { return d.ticks(r.Drying) })
	d.put("tanks", int64(len(p.Tanks)))
	list(d, "tank_height", p.Tanks, func(t planner.Tank) int64 { return t.HeightMM })
	list(d, "tank_volume", p.Tanks, func(t planner.Tank) int64 { return t.VolumeML })
	list(d, "tank_clean", p.Tanks, func(t planner.Tank) int64 { return d.ticks(t.CleanUp) })
	list(d, "tank_flush", p.Tanks, func(t planner.Tank) int64 { return d.ticks(t.Flush) })
	table(d, "tank_warm", p.Tanks, d.processes, func(t planner.Tank, process string) int64 { return d.ticks(t.WarmUp[process]) })
	table(d, "tank_takes", p.Tanks, p.Reels, func(t planner.Tank, r planner.ReelKind) bool { return slices.Contains(t.Reels, r.Kind) })
	d.put("cabinets", int64(len(p.Cabinets)))
	list(d, "cabinet_positions", p.Cabinets, func(c planner.Cabinet) int64 { return c.Positions })
	list(d, "cabinet_drying", p.Cabinets, func(c planner.Cabinet) int64 { return d.ticks(c.Drying) })
	table(d, "cabinet_takes", p.Cabinets, d.hangs, func(c planner.Cabinet, hang string) int64 { return c.Takes[hang] })
}

// times are the sessions and classes.
func (d *data) times() {
	var operators []string
	d.put("sessions", int64(len(d.sessions)))
	list(d, "session_tank", d.sessions, func(s planner.Session) int64 { return d.tank(s.Tank) })
	list(d, "session_from", d.sessions, func(s planner.Session) int64 { return d.at(s.Start) })
	list(d, "session_to", d.sessions, func(s planner.Session) int64 { return d.at(s.End) })
	operator := func(name string) int64 {
		if name == "" {
			return 0
		}
		operators = note(operators, name)
		return named(operators, name)
	}
	list(d, "session_operator", d.sessions, func(s planner.Session) int64 { return operator(s.Operator) })
	list(d, "frozen_operator", d.p.Frozen, func(f planner.FrozenBatch) int64 {
		return operator(d.sessions[d.session(f.Session)-1].Operator)
	})
	table(d, "session_allows", d.sessions, d.processes, func(s planner.Session, process string) bool {
		return len(s.Processes) == 0 || slices.Contains(s.Processes, process)
	})

	classes := d.p.Classes
	var ids []string
	hands := 0
	for _, c := range classes {
		ids = append(ids, c.ID)
		hands = max(hands, len(c.Hands))
	}
	slices.Sort(ids)
	d.put("classes", int64(len(classes)))
	list(d, "class_process", classes, func(c planner.Class) int64 { return named(d.processes, c.Process) })
	list(d, "class_developing", classes, func(c planner.Class) int64 { return int64(c.Developing) })
	list(d, "class_id_order", classes, func(c planner.Class) int64 { return named(ids, c.ID) })
	list(d, "class_wet", classes, func(c planner.Class) int64 { return d.ticks(c.Wet) })
	list(d, "class_shareable", classes, func(c planner.Class) bool { return c.Shareable })
	table(d, "class_step", classes, d.roles, func(c planner.Class, role string) int64 {
		is := func(s planner.Step) bool { return s.Role == role }
		if i := slices.IndexFunc(c.Steps, is); i >= 0 {
			return d.ticks(c.Steps[i].Begins)
		}
		return none
	})
	d.put("hands", int64(hands))
	spans := make([]int, hands)
	for i := range spans {
		spans[i] = i
	}
	hand := func(c planner.Class, i int) planner.Span {
		if i < len(c.Hands) {
			return c.Hands[i]
		}
		return planner.Span{}
	}
	table(d, "hand_from", classes, spans, func(c planner.Class, i int) int64 { return d.ticks(hand(c, i).From) })
	table(d, "hand_to", classes, spans, func(c planner.Class, i int) int64 { return d.ticks(hand(c, i).To) })
}

func (d *data) tank(id string) int64 {
	return place(d.p.Tanks, func(t planner.Tank) bool { return t.ID == id })
}

func (d *data) session(id string) int64 {
	return place(d.sessions, func(s planner.Session) bool { return s.ID == id })
}

func (d *data) class(id string) int64 {
	return place(d.p.Classes, func(c planner.Class) bool { return c.ID == id })
}

func (d *data) set(id string) int64 {
	return place(d.p.BathSets, func(s planner.BathSet) bool { return s.ID == id })
}

func (d *data) chemistry() {
	p := d.p
	limit := func(v *int64, of func(int64) int64) int64 {
		if v == nil {
			return none
		}
		return of(*v)
	}
	same := func(n int64) int64 { return n }
	d.put("baths", int64(len(p.Baths)))
	list(d, "bath_role", p.Baths, func(b planner.Bath) int64 { return named(d.roles, b.Role) })
	list(d, "bath_volume", p.Baths, func(b planner.Bath) int64 { return b.VolumeML })
	list(d, "bath_one_shot", p.Baths, func(b planner.Bath) bool { return b.OneShot })
	list(d, "bath_run", p.Baths, func(b planner.Bath) int64 { return limit(b.RunMM2PerL, d.area) })
	list(d, "bath_area", p.Baths, func(b planner.Bath) int64 { return limit(b.AreaLeftMM2, d.area) })
	list(d, "bath_runs", p.Baths, func(b planner.Bath) int64 { return limit(b.RunsLeft, same) })
	list(d, "bath_expires", p.Baths, func(b planner.Bath) int64 { return d.until(b.ExpiresAt) })
	list(d, "bath_life", p.Baths, func(b planner.Bath) int64 {
		if b.Life == nil {
			return never
		}
		return d.ticks(*b.Life)
	})
	mix := func(s planner.BathSet) planner.Mix {
		if s.Mix == nil {
			return planner.Mix{}
		}
		return *s.Mix
	}
	d.put("sets", int64(len(p.BathSets)))
	table(d, "set_serves", p.BathSets, d.processes, func(s planner.BathSet, process string) bool { return slices.Contains(s.Processes, process) })
	table(d, "set_has", p.BathSets, p.Baths, func(s planner.BathSet, b planner.Bath) bool { return slices.Contains(s.Baths, b.ID) })
	list(d, "set_kit", p.BathSets, func(s planner.BathSet) bool { return s.Mix != nil })
	list(d, "mix_takes", p.BathSets, func(s planner.BathSet) int64 { return d.ticks(mix(s).Takes) })
	list(d, "mix_price", p.BathSets, func(s planner.BathSet) int64 { return mix(s).PriceMinor })
	list(d, "mix_by", p.BathSets, func(s planner.BathSet) int64 { return d.until(mix(s).By) })
	list(d, "waste_per_m2", p.BathSets, func(s planner.BathSet) int64 { return s.WasteMinorPerM2 })
}

// until is an end in ticks, never when there is none.
func (d *data) until(t *time.Time) int64 {
	if t == nil {
		return never
	}
	return d.at(*t)
}

// findFilms gathers alike rolls.
func (d *data) findFilms() {
	kinds := map[string]int{}
	for _, r := range d.p.Rolls {
		f := film{Roll: r, held: r.Booked, before: -2}
		for _, h := range d.p.Pins {
			if h.Roll == r.ID {
				f.held = h.Session
			}
		}
		for _, s := range d.sessions {
			no := slices.ContainsFunc(d.p.Bans, func(h planner.Hold) bool {
				return h.Roll == r.ID && (h.Session == "" || h.Session == s.ID)
			})
			f.banned += strconv.FormatBool(no)[:1]
		}
		for _, h := range d.p.Previous {
			switch {
			case h.Roll != r.ID:
			case h.Session == "":
				f.before = 0
			case d.session(h.Session) > 0:
				f.before = int(d.session(h.Session))
			default:
				f.before = none // a session that is gone
			}
		}
		due := "none"
		if r.Due != nil {
			due = r.Due.UTC().String()
		}
		key := fmt.Sprint(r.Class, r.AreaMM2, r.Reel, r.Hang, r.HandedIn.UTC(), due, max(r.Weight, 1), f.held, f.banned, f.before)
		if i, ok := kinds[key]; ok {
			d.films[i].count++
			continue
		}
		kinds[key] = len(d.films)
		f.count = 1
		d.films = append(d.films, f)
	}
}

func (d *data) rolls() {
	d.put("films", int64(len(d.films)))
	list(d, "film_count", d.films, func(f film) int64 { return int64(f.count) })
	list(d, "film_class", d.films, func(f film) int64 { return d.class(f.Class) })
	list(d, "film_area", d.films, func(f film) int64 { return d.area(f.AreaMM2) })
	list(d, "film_reel", d.films, func(f film) int64 {
		return place(d.p.Reels, func(r planner.ReelKind) bool { return r.Kind == f.Reel })
	})
	list(d, "film_hang", d.films, func(f film) int64 { return named(d.hangs, f.Hang) })
	list(d, "film_in", d.films, func(f film) int64 { return d.at(f.HandedIn) })
	list(d, "film_due", d.films, func(f film) int64 { return d.until(f.Due) })
	list(d, "film_weight", d.films, func(f film) int64 { return max(f.Weight, 1) })
	list(d, "film_held", d.films, func(f film) int64 { return d.session(f.held) })
	sessions := make([]int, len(d.sessions))
	for i := range sessions {
		sessions[i] = i
	}
	table(d, "film_banned", d.films, sessions, func(f film, s int) bool { return f.banned[s] == 't' })
	list(d, "film_before", d.films, func(f film) int64 { return int64(f.before) })
}

func (d *data) frozen() {
	f := d.p.Frozen
	d.put("frozen", int64(len(f)))
	list(d, "frozen_tank", f, func(f planner.FrozenBatch) int64 { return d.tank(f.Tank) })
	list(d, "frozen_class", f, func(f planner.FrozenBatch) int64 { return d.class(f.Class) })
	list(d, "frozen_set", f, func(f planner.FrozenBatch) int64 { return d.set(f.BathSet) })
	list(d, "frozen_mixes", f, func(f planner.FrozenBatch) bool { return f.Mixes })
	list(d, "frozen_start", f, func(f planner.FrozenBatch) int64 { return d.at(f.Start) })
	list(d, "frozen_wet", f, func(f planner.FrozenBatch) int64 { return d.at(f.Wet) })
	list(d, "frozen_end", f, func(f planner.FrozenBatch) int64 { return d.at(f.End) })
	list(d, "frozen_clear", f, func(f planner.FrozenBatch) int64 { return d.at(f.Clear) })
	list(d, "frozen_area", f, func(f planner.FrozenBatch) int64 {
		var sum int64
		for _, film := range f.Films {
			sum += d.area(film.AreaMM2)
		}
		return sum
	})
	table(d, "frozen_reels", f, d.p.Reels, func(f planner.FrozenBatch, k planner.ReelKind) int64 {
		var n int64
		for _, use := range f.Reels {
			if use.Kind == k.Kind {
				n += use.Count
			}
		}
		return n
	})
	table(d, "frozen_hung", f, d.p.Cabinets, func(f planner.FrozenBatch, c planner.Cabinet) int64 {
		var n int64
		for _, pl := range f.Rolls {
			if pl.Cabinet == c.ID {
				i := slices.IndexFunc(f.Films, func(r planner.Roll) bool { return r.ID == pl.Roll })
				n += c.Takes[f.Films[i].Hang]
			}
		}
		return n
	})
}
