package scheduling

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/chemistry"
	"wetside/lab"
	"wetside/scheduling/planner"
)

// A Trial asks what a plan would come to if things were otherwise: the lab's
// own data with changes on top. Nothing of it is stored.
type Trial struct {
	NewPlan
	Without WithoutParts `json:"without,omitzero"`
	More    MoreParts    `json:"more,omitzero"`
	// Due changes when rolls on the shelf are due; no time: not at all.
	Due  []RollDue      `json:"due,omitempty"`
	Pins []NewDirection `json:"pins,omitempty"`
	Bans []NewDirection `json:"bans,omitempty"`
}

// WithoutParts are what a trial does without, by id: equipment out of order,
// bath sets dead, sessions that do not take place.
type WithoutParts struct {
	Tanks    []string `json:"tanks,omitempty"`
	Cabinets []string `json:"cabinets,omitempty"`
	BathSets []string `json:"bath_sets,omitempty"`
	Sessions []string `json:"sessions,omitempty"`
}

// MoreParts are what a trial has beside what the lab has.
type MoreParts struct {
	Reels    []MoreReels  `json:"reels,omitempty"`
	Sessions []NewSession `json:"sessions,omitempty"`
	// Kits are unopened ones like those of the lab that they name, open or closed.
	Kits  []string  `json:"kits,omitempty"`
	Rolls []NewRoll `json:"rolls,omitempty"`
}

// MoreReels are reels of a kind beside those in stock.
type MoreReels struct {
	Kind  string `json:"kind"`
	Count int64  `json:"count"`
}

// A RollDue is when a roll is to be due.
type RollDue struct {
	Roll string     `json:"roll"`
	Due  *time.Time `json:"due,omitempty"`
}

// A TriedPlan is what a Trial comes to, and how that differs from the plan of
// the same span as things are, and from the batches that stand.
type TriedPlan struct {
	Plan       *planner.Plan      `json:"plan"`
	Difference planner.Difference `json:"difference"`
	// TakenApart are the planned batches that cannot be run so, or that were to
	// be batched anew.
	TakenApart []string         `json:"taken_apart"`
	Problem    *planner.Problem `json:"problem"`
}

// TryPlan plans a span twice, as things are and as they would be. It refuses
// as MakePlan does, and with a fault for each part of the changes that it does
// not know or that contradicts the rest.
func TryPlan(ctx context.Context, tx pgx.Tx, s lab.Scope, in Trial) (TriedPlan, error) {
	if err := in.check(s); err != nil {
		return TriedPlan{}, err
	}
	if err := planAlone(ctx, tx, s); err != nil {
		return TriedPlan{}, err
	}
	sh, err := readShop(ctx, tx, s)
	if err != nil {
		return TriedPlan{}, err
	}
	other, err := sh.otherwise(ctx, tx, in)
	if err != nil {
		return TriedPlan{}, err
	}
	if in.Budget == 0 {
		in.Budget = longestBudget / 2
	}
	in.Budget = min(in.Budget, longestBudget/2) // for each of the two plans
	_, before, released, err := sh.solve(ctx, in, nil)
	if err != nil {
		return TriedPlan{}, err
	}
	// What stands, and what is taken apart only for the trial, is where things are.
	for _, st := range sh.standing {
		if !st.done && !slices.Contains(ids(released), st.placed.ID) {
			before.Batches = append(before.Batches, st.placed)
		}
	}
	in.Repair = true
	problem, after, released, err := other.solve(ctx, in, before)
	if err != nil {
		return TriedPlan{}, err
	}
	out := TriedPlan{Plan: after, TakenApart: ids(released), Problem: problem}
	all := *after
	for _, st := range other.standing {
		if !st.done && !slices.Contains(out.TakenApart, st.placed.ID) {
			all.Batches = append(all.Batches[:len(all.Batches):len(all.Batches)], st.placed)
		}
	}
	out.Difference = planner.Compare(before, &all)
	return out, nil
}

// solve plans a shop's span. before, unless nil, is the plan to change least.
func (sh *shop) solve(ctx context.Context, in Trial, before *planner.Plan) (*planner.Problem, *planner.Plan, []planner.Batch, error) {
	var released []planner.Batch
	if in.Replan || in.Repair {
		sh, released = sh.release(in.From, in.Until, in.Replan)
	}
	problem, err := sh.week(ctx, in.NewPlan, false)
	if err != nil {
		return nil, nil, nil, err
	}
	if before != nil {
		problem.Previous = stood(nil, before.Batches, problem.Rolls)
	}
	plan, err := planner.Solve(ctx, problem, nil)
	if invalid := (*planner.InvalidError)(nil); errors.As(err, &invalid) {
		no := lab.Refuse(lab.Invalid, "invalid", "such a lab cannot be planned")
		for _, f := range invalid.Faults {
			_ = no.With("/problem"+f.Pointer, "invalid", "%s", f.Detail)
		}
		return nil, nil, nil, no
	}
	if err != nil {
		return nil, nil, nil, fmt.Errorf("try plan: %w", err)
	}
	return problem, plan, released, judge(problem, plan)
}

// otherwise is the shop with a trial's changes.
func (sh *shop) otherwise(ctx context.Context, tx pgx.Tx, in Trial) (*shop, error) {
	out := *sh
	out.tanks, out.reels, out.cabinets = slices.Clone(sh.tanks), slices.Clone(sh.reels), slices.Clone(sh.cabinets)
	out.sets, out.kits, out.open = slices.Clone(sh.sets), slices.Clone(sh.kits), maps.Clone(sh.open)
	out.sessions = maps.Clone(sh.sessions)
	out.booked, out.shelf = slices.Clone(sh.booked), slices.Clone(sh.shelf)
	out.pins, out.bans = slices.Clone(sh.pins), slices.Clone(sh.bans)
	no := lab.Refuse(lab.Invalid, "invalid", "the lab cannot be tried so")
	out.lose(in.Without, no)
	if err := out.gain(ctx, tx, in.More, no); err != nil {
		return nil, err
	}
	for i, due := range in.Due {
		if r := out.roll(due.Roll); r == nil {
			unknown(no, fmt.Sprintf("/due/%d/roll", i), "roll on the shelf")
		} else {
			r.Due = due.Due
		}
	}
	out.direct(in, no)
	return &out, no.OrNil()
}

func unknown(no *lab.Refusal, pointer, what string) {
	_ = no.With(pointer, "unknown", "the lab has no such %s", what)
}

// roll finds a roll on the shelf, booked or not.
func (sh *shop) roll(id string) *Roll {
	for _, list := range [][]Roll{sh.booked, sh.shelf} {
		if i := slices.IndexFunc(list, func(r Roll) bool { return r.ID == id }); i >= 0 {
			return &list[i]
		}
	}
	return nil
}

// lose takes from the shop what a trial does without.
func (sh *shop) lose(w WithoutParts, no *lab.Refusal) {
	for i, id := range w.Tanks {
		at := slices.IndexFunc(sh.tanks, func(t lab.Tank) bool { return t.ID == id })
		if at < 0 {
			unknown(no, fmt.Sprintf("/without/tanks/%d", i), "tank")
			continue
		}
		sh.tanks[at].OutOfOrder = true
	}
	for i, id := range w.Cabinets {
		at := slices.IndexFunc(sh.cabinets, func(c lab.Cabinet) bool { return c.ID == id })
		if at < 0 {
			unknown(no, fmt.Sprintf("/without/cabinets/%d", i), "cabinet")
			continue
		}
		sh.cabinets[at].OutOfOrder = true
	}
	for i, id := range w.BathSets {
		at := slices.IndexFunc(sh.sets, func(b chemistry.BathSet) bool { return b.ID == id })
		if at < 0 {
			unknown(no, fmt.Sprintf("/without/bath_sets/%d", i), "bath set in use")
			continue
		}
		sh.sets = slices.Delete(sh.sets, at, at+1)
	}
	for i, id := range w.Sessions {
		e, ok := sh.sessions[id]
		if !ok {
			unknown(no, fmt.Sprintf("/without/sessions/%d", i), "session to come")
			continue
		}
		e.CancelledAt = &sh.s.Now
		sh.sessions[id] = e
	}
}

// gain adds to the shop what a trial has more of. What is only of the trial has
// an id that begins with trial-.
func (sh *shop) gain(ctx context.Context, tx pgx.Tx, m MoreParts, no *lab.Refusal) error {
	for i, more := range m.Reels {
		at := slices.IndexFunc(sh.reels, func(k lab.ReelKind) bool { return k.Code == more.Kind })
		switch {
		case at < 0:
			unknown(no, fmt.Sprintf("/more/reels/%d/kind", i), "kind of reel")
		case more.Count < 1 || more.Count > mostMore:
			_ = no.With(fmt.Sprintf("/more/reels/%d/count", i), "out-of-range", "want 1 to %d", mostMore)
		default:
			sh.reels[at].Count += more.Count
		}
	}
	for i, e := range m.Sessions {
		sh.gainSession(fmt.Sprintf("/more/sessions/%d", i), fmt.Sprintf("trial-session-%d", i+1), e, no)
	}
	for i, like := range m.Kits {
		kit, err := chemistry.FindKit(ctx, tx, sh.s.Lab.ID, like)
		if lab.RefusalCode(err) == "not-found" {
			unknown(no, fmt.Sprintf("/more/kits/%d", i), "kit")
			continue
		}
		if err != nil {
			return err
		}
		kit.ID, kit.PortionsLeft, kit.OpenedAt, kit.ClosedAt = fmt.Sprintf("trial-kit-%d", i+1), kit.Portions, nil, nil
		kit.UnopenedUntil = sh.s.Now.AddDate(0, 0, 2*int(longestPlan/(24*time.Hour)))
		sh.kits = append(sh.kits, kit)
		sh.open[kit.ID] = kit
	}
	for i, in := range m.Rolls {
		r, err := describe(ctx, tx, sh.s, in)
		var refused *lab.Refusal
		if errors.As(err, &refused) {
			for _, f := range refused.Faults {
				_ = no.With(fmt.Sprintf("/more/rolls/%d%s", i, f.Pointer), f.Code, "%s", f.Detail)
			}
			continue
		}
		if err != nil {
			return err
		}
		r.ID = fmt.Sprintf("trial-roll-%d", i+1)
		sh.shelf = append(sh.shelf, r)
	}
	return nil
}

// mostMore bounds what a trial may add of reels.
const mostMore = 1_000

func (sh *shop) gainSession(pointer, id string, in NewSession, no *lab.Refusal) {
	switch {
	case !slices.ContainsFunc(sh.tanks, func(t lab.Tank) bool { return t.ID == in.Tank }):
		unknown(no, pointer+"/tank", "tank")
		return
	case !in.End.After(in.Start) || !in.End.After(sh.s.Now):
		_ = no.With(pointer+"/end", "out-of-range", "want an end after the start, and to come")
		return
	}
	for _, other := range sh.sessions {
		if other.Tank == in.Tank && other.CancelledAt == nil && in.Start.Before(other.End) && other.Start.Before(in.End) {
			_ = no.With(pointer, "overlap", "the tank has a session from %s to %s", other.Start.Format(time.RFC3339), other.End.Format(time.RFC3339))
			return
		}
	}
	sh.sessions[id] = Session{ID: id, Tank: in.Tank, Start: in.Start, End: in.End, Operator: in.Operator, Kind: Attended, Processes: in.Processes}
}

// direct gives a trial's pins and bans; a pin takes the place of one there was.
func (sh *shop) direct(in Trial, no *lab.Refusal) {
	check := func(pointer string, d NewDirection, pin bool) bool {
		r := sh.roll(d.Roll)
		switch {
		case r == nil:
			unknown(no, pointer+"/roll", "roll on the shelf")
		case d.Session == nil && pin:
			_ = no.With(pointer+"/session", "missing", "a pin binds a roll to a session: say which")
		case d.Session == nil:
			return true
		case sh.sessions[*d.Session].ID == "":
			unknown(no, pointer+"/session", "session to come")
		case pin && r.Session != nil && *r.Session != *d.Session:
			_ = no.With(pointer, "directions-clash", "the roll is booked in another session, which holds")
		default:
			return true
		}
		return false
	}
	for i, d := range in.Pins {
		pointer := fmt.Sprintf("/pins/%d", i)
		if j := slices.IndexFunc(in.Pins[:i], func(p NewDirection) bool { return p.Roll == d.Roll }); j >= 0 {
			_ = no.With(pointer, "directions-clash", "pins the roll that /pins/%d pins", j)
		} else if check(pointer, d, true) {
			sh.pins = slices.DeleteFunc(sh.pins, func(p Direction) bool { return p.Roll == d.Roll })
			sh.pins = append(sh.pins, Direction{Roll: d.Roll, Session: d.Session})
		}
	}
	for i, d := range in.Bans {
		pointer := fmt.Sprintf("/bans/%d", i)
		pinned := func(p Direction) bool { return p.Roll == d.Roll && (d.Session == nil || *p.Session == *d.Session) }
		if slices.ContainsFunc(sh.pins, pinned) {
			_ = no.With(pointer, "directions-clash", "the roll is pinned there")
		} else if check(pointer, d, false) {
			sh.bans = append(sh.bans, Direction{Roll: d.Roll, Session: d.Session})
		}
	}
}
