package scheduling

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/chemistry"
	"wetside/chemistry/shares"
	"wetside/lab"
	"wetside/lab/units"
	"wetside/scheduling/planner"
)

// A Wish is what somebody would like to book together, and when.
type Wish struct {
	// Rolls are on the shelf; Films would be handed in first.
	Rolls []string `json:"rolls,omitempty"`
	Films []Film   `json:"films,omitempty"`
	// From and Until bound the sessions' starts; nil leaves that side open.
	From  *time.Time `json:"from,omitempty"`
	Until *time.Time `json:"until,omitempty"`
	// Limit is how many sessions are wanted; 0 is usualOffers.
	Limit int `json:"limit,omitempty"`
}

// A Film describes some like rolls that are not handed in yet.
type Film struct {
	Format     string          `json:"format"`
	LengthMM   int64           `json:"length_mm,omitempty"`
	Process    string          `json:"process"`
	Push       int             `json:"push,omitempty"`
	Developing *units.Duration `json:"developing,omitempty"`
	Count      int             `json:"count"`
}

// An Availability is the sessions that take what was wished for, the earliest first.
type Availability struct {
	Offers []Offer `json:"offers"`
	// PassedOver are the sessions before the last offer, or of the whole span, that do not take it.
	PassedOver []string `json:"passed_over"`
	// SearchedUntil is the start of the first session that was not looked at,
	// because enough were found or the search was long; nil when all were.
	SearchedUntil *time.Time `json:"searched_until,omitempty"`
}

// An Offer is a session that takes all of a wish, if it is booked at once.
type Offer struct {
	Session Session `json:"session"`
	// DryAt is when the last of the rolls would be dry by the plan that proves that
	// they fit; another plan may run them later in the session, and then they are dry by DryBy.
	DryAt time.Time `json:"dry_at"`
	DryBy time.Time `json:"dry_by"`
	// Costs has an estimate for each kit that the rolls would run on.
	Costs []shares.Estimate `json:"costs"`
}

// How much one search offers and looks at. A session that does not take the
// rolls may need up to a tenth of a second to say so.
const (
	usualOffers  = 5
	mostOffers   = 20
	mostSearched = 40
)

// FindAvailability finds the sessions that take a member's rolls, those on the
// shelf and those only described, all together, as a booking now would. It
// reads the lab once, and refuses as Book and HandIn do.
func FindAvailability(ctx context.Context, tx pgx.Tx, s lab.Scope, in Wish) (Availability, error) {
	rolls, err := wished(ctx, tx, s, in)
	if err != nil {
		return Availability{}, err
	}
	sh, err := readShop(ctx, tx, s)
	if err != nil {
		return Availability{}, err
	}
	limit := in.Limit
	if limit == 0 {
		limit = usualOffers
	}
	limit = min(limit, mostOffers)
	rules, err := ReadBookingRules(ctx, tx, s.Lab.ID)
	if err != nil {
		return Availability{}, err
	}
	answer := Availability{Offers: []Offer{}, PassedOver: []string{}}
	costs := map[string]shares.Estimate{}
	for i, e := range sh.candidates(in.From, in.Until) {
		if len(answer.Offers) == limit || i == mostSearched {
			answer.SearchedUntil = &e.Start
			break
		}
		may := mayBook(ctx, tx, s, rules, e, rolls, "")
		if may != nil && lab.RefusalCode(may) == "" {
			return Availability{}, may
		}
		f, err := sh.try(ctx, e, rolls, false)
		if err != nil {
			return Availability{}, err
		}
		if may != nil || f.plan == nil {
			answer.PassedOver = append(answer.PassedOver, e.ID)
			continue
		}
		offer := Offer{Session: e, DryBy: e.End.Add(sh.driesWithin(rolls)), Costs: []shares.Estimate{}}
		onKit := sh.onKits(f.plan, rolls, &offer.DryAt)
		for _, kit := range slices.Sorted(maps.Keys(onKit)) {
			cost, err := estimateOnce(ctx, tx, s, costs, kit, onKit[kit])
			if err != nil {
				return Availability{}, err
			}
			offer.Costs = append(offer.Costs, cost)
		}
		answer.Offers = append(answer.Offers, offer)
	}
	return answer, nil
}

// wished reads the rolls of a wish and makes those that are only described.
func wished(ctx context.Context, tx pgx.Tx, s lab.Scope, in Wish) ([]Roll, error) {
	rolls := []Roll{}
	if len(in.Rolls) > 0 || len(in.Films) == 0 {
		read, err := bookable(ctx, tx, s, in.Rolls)
		if err != nil {
			return nil, err
		}
		rolls = read
	}
	member := s.By.ID
	if len(rolls) > 0 {
		member = rolls[0].Member
	}
	for i, film := range in.Films {
		pointer := fmt.Sprintf("/films/%d", i)
		if film.Count < 1 || len(rolls)+film.Count > mostRolls {
			return nil, lab.Refuse(lab.Invalid, "invalid", "these rolls cannot be booked together").
				With(pointer+"/count", "out-of-range", "want 1 or more, and %d rolls in all at most", mostRolls)
		}
		roll, err := describe(ctx, tx, s, NewRoll{Format: film.Format, LengthMM: film.LengthMM,
			Process: film.Process, Push: film.Push, Developing: film.Developing})
		if err != nil {
			return nil, under(pointer, err)
		}
		roll.Member = member
		for range film.Count {
			// Behind every id that is taken, in the order of their description, as they will be once handed in.
			roll.ID = fmt.Sprintf("roll_~%06d", len(rolls))
			rolls = append(rolls, roll)
		}
	}
	return rolls, nil
}

// mostRolls is how many rolls one wish, or one booking, may have.
const mostRolls = 100

// under moves a refusal's faults below a pointer.
func under(pointer string, err error) error {
	var no *lab.Refusal
	if errors.As(err, &no) {
		for i := range no.Faults {
			no.Faults[i].Pointer = pointer + no.Faults[i].Pointer
		}
	}
	return err
}

// candidates are the sessions that can still be booked and start in
// [from, until), the earliest first.
func (sh *shop) candidates(from, until *time.Time) []Session {
	var out []Session
	for _, e := range sh.sessions {
		if e.open(sh.s.Now) == nil && (from == nil || !e.Start.Before(*from)) && (until == nil || e.Start.Before(*until)) {
			out = append(out, e)
		}
	}
	slices.SortFunc(out, func(a, b Session) int { return cmp.Or(a.Start.Compare(b.Start), cmp.Compare(a.ID, b.ID)) })
	return out
}

// How many sessions a refused booking names, and looks at to find them.
const (
	nearestNamed    = 3
	nearestSearched = 10
)

// nearest finds sessions that would take the rolls in place of one that does
// not, of those that may be booked: those that begin nearest to it, the nearest
// first.
func (sh *shop) nearest(ctx context.Context, session Session, rolls []Roll, may func(Session) error) ([]string, error) {
	others := sh.candidates(nil, nil)
	slices.SortStableFunc(others, func(a, b Session) int {
		return cmp.Compare(a.Start.Sub(session.Start).Abs(), b.Start.Sub(session.Start).Abs())
	})
	others = slices.DeleteFunc(others, func(e Session) bool { return e.ID == session.ID })
	var found []string
	for _, e := range others[:min(len(others), nearestSearched)] {
		if err := may(e); lab.RefusalCode(err) != "" {
			continue
		} else if err != nil {
			return nil, err
		}
		f, err := sh.try(ctx, e, rolls, false)
		if err != nil {
			return nil, err
		}
		if f.plan != nil {
			found = append(found, e.ID)
		}
		if len(found) == nearestNamed {
			break
		}
	}
	return found, nil
}

// driesWithin is the longest that any of the rolls may hang.
func (sh *shop) driesWithin(rolls []Roll) (longest time.Duration) {
	for _, c := range sh.cabinets {
		hangs := func(r Roll) bool { return chemistry.Positions(sh.formats[r.Format], r.LengthMM, c.DropMM) > 0 }
		if !c.OutOfOrder && slices.ContainsFunc(rolls, hangs) {
			longest = max(longest, c.Drying.Std())
		}
	}
	return longest
}

// onKits says which of the rolls a plan runs on which kit, and moves dry to
// when the last of them is.
func (sh *shop) onKits(plan *planner.Plan, rolls []Roll, dry *time.Time) map[string][]Roll {
	out := map[string][]Roll{}
	for _, b := range plan.Batches {
		kit := kitOfPortion(b.BathSet)
		if i := slices.IndexFunc(sh.sets, func(set chemistry.BathSet) bool { return set.ID == b.BathSet }); i >= 0 {
			kit = sh.sets[i].Kit
		}
		for _, pl := range b.Rolls {
			if i := slices.IndexFunc(rolls, func(r Roll) bool { return r.ID == pl.Roll }); i >= 0 {
				out[kit] = append(out[kit], rolls[i])
				*dry = later(*dry, pl.DryAt)
			}
		}
	}
	return out
}

// estimateOnce estimates what rolls cost on a kit, once for the same rolls.
func estimateOnce(ctx context.Context, tx pgx.Tx, s lab.Scope, known map[string]shares.Estimate, kit string, rolls []Roll) (shares.Estimate, error) {
	slices.SortFunc(rolls, func(a, b Roll) int { return cmp.Compare(a.ID, b.ID) })
	key, uses := kit, []shares.RollUse{}
	for _, r := range rolls {
		key += " " + r.ID
		uses = append(uses, shares.RollUse{Roll: r.ID, Member: r.Member, AreaMM2: r.Area.Counted()})
	}
	if e, ok := known[key]; ok {
		return e, nil
	}
	e, err := shares.EstimateRolls(ctx, tx, s, kit, rolls[0].Member, uses)
	known[key] = e
	return e, err
}
