package scheduling

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

// Places is how many of some like rolls a session could still take.
type Places struct {
	// Rolls are alike: of one format, length, process, push and developing time.
	Rolls   []string `json:"rolls"`
	Format  string   `json:"format"`
	Process string   `json:"process"`
	Push    int      `json:"push"`
	// Fit is how many of them could be booked there now.
	Fit int `json:"fit"`
	// Reasons say why not all of them, when not all fit.
	Reasons []PlaceReason `json:"reasons"`
}

// A PlaceReason is a reason why a roll has no place.
type PlaceReason struct {
	Code   string `json:"code"`
	Detail string `json:"detail"`
}

// An OpenSession is a session with its places left for given rolls.
type OpenSession struct {
	Session
	// MyRolls are the member's own rolls booked or batched there.
	MyRolls []string `json:"my_rolls"`
	Places  []Places `json:"places,omitempty"`
}

// WithPlaces adds to sessions what of the member's rolls is in them, and how
// many of the rolls named each could still take, as bookings would find it.
func WithPlaces(ctx context.Context, tx pgx.Tx, s lab.Scope, sessions []Session, rolls []string) ([]OpenSession, error) {
	out := make([]OpenSession, 0, len(sessions))
	mine, err := myRolls(ctx, tx, s, sessions)
	if err != nil {
		return nil, err
	}
	for _, e := range sessions {
		out = append(out, OpenSession{Session: e, MyRolls: append([]string{}, mine[e.ID]...)})
	}
	if len(rolls) == 0 {
		return out, nil
	}
	groups, err := alike(ctx, tx, s, rolls)
	if err != nil {
		return nil, asPlacesFor(err)
	}
	rules, err := ReadBookingRules(ctx, tx, s.Lab.ID)
	if err != nil {
		return nil, err
	}
	sh, err := readShop(ctx, tx, s)
	if err != nil {
		return nil, err
	}
	for i := range out {
		if out[i].CancelledAt != nil || !out[i].End.After(s.Now) {
			continue
		}
		for _, group := range groups {
			places, err := sh.places(ctx, out[i].Session, group, func(some []Roll) error {
				return mayBook(ctx, tx, s, rules, out[i].Session, some, "")
			})
			if err != nil {
				return nil, err
			}
			out[i].Places = append(out[i].Places, places)
		}
	}
	return out, nil
}

// myRolls are the member's own rolls booked or batched in each of some sessions, in order.
func myRolls(ctx context.Context, tx pgx.Tx, s lab.Scope, sessions []Session) (map[string][]string, error) {
	ids := make([]string, 0, len(sessions))
	for _, e := range sessions {
		ids = append(ids, e.ID)
	}
	rows, err := many[struct{ Session, Roll string }](ctx, tx, "rolls", `
		SELECT b.session_id, k.roll_id FROM bookings b
		JOIN booking_rolls k ON k.lab_id = b.lab_id AND k.booking_id = b.id AND k.live
		WHERE b.lab_id = $1 AND b.session_id = ANY($3) AND b.cancelled_at IS NULL AND b.member_id = $2
			AND (b.confirmed_at IS NOT NULL OR b.held_until > $4)
			AND NOT EXISTS (SELECT FROM batch_rolls br WHERE br.lab_id = k.lab_id AND br.roll_id = k.roll_id AND br.live)
		UNION
		SELECT t.session_id, br.roll_id FROM batches t
		JOIN batch_rolls br ON br.lab_id = t.lab_id AND br.batch_id = t.id AND br.live
		JOIN rolls r ON r.lab_id = br.lab_id AND r.id = br.roll_id
		WHERE t.lab_id = $1 AND t.session_id = ANY($3) AND r.member_id = $2
		ORDER BY 2`, s.Lab.ID, s.By.ID, ids, s.Now)
	if err != nil {
		return nil, err
	}
	mine := map[string][]string{}
	for _, r := range rows {
		mine[r.Session] = append(mine[r.Session], r.Roll)
	}
	return mine, nil
}

// asPlacesFor points what is wrong with rolls to book to the question after places.
func asPlacesFor(err error) error {
	var no *lab.Refusal
	if errors.As(err, &no) {
		for i, f := range no.Faults {
			if strings.HasPrefix(f.Pointer, "/rolls") {
				no.Faults[i].Pointer = "/places_for"
			}
		}
	}
	return err
}

// alike reads rolls that can be booked, in groups that planning cannot tell apart.
func alike(ctx context.Context, tx pgx.Tx, s lab.Scope, ids []string) ([][]Roll, error) {
	rolls, err := bookable(ctx, tx, s, ids)
	if err != nil {
		return nil, err
	}
	var order []string
	groups := map[string][]Roll{}
	for _, r := range rolls {
		key := kindOf(r)
		if groups[key] == nil {
			order = append(order, key)
		}
		groups[key] = append(groups[key], r)
	}
	out := make([][]Roll, 0, len(order))
	for _, key := range order {
		out = append(out, groups[key])
	}
	return out, nil
}

// kindOf is the same for rolls that planning cannot tell apart.
func kindOf(r Roll) string {
	key := fmt.Sprint(r.Format, " ", r.LengthMM, " ", r.Process, " ", r.Push)
	if r.Developing != nil {
		key += " " + r.Developing.String()
	}
	return key
}

// places finds how many of like rolls fit a session, by halving: if some
// number fits, every smaller one does.
func (sh *shop) places(ctx context.Context, e Session, group []Roll, may func([]Roll) error) (Places, error) {
	out := Places{Rolls: []string{}, Format: group[0].Format, Process: group[0].Process, Push: group[0].Push, Reasons: []PlaceReason{}}
	for _, r := range group {
		out.Rolls = append(out.Rolls, r.ID)
	}
	var last []Misfit
	most := len(group)
	for try := most; out.Fit < most; try = (out.Fit + most + 1) / 2 {
		misfit, err := sh.refusal(ctx, e, group[:try], may)
		if err != nil {
			return out, err
		}
		if len(misfit) == 0 {
			out.Fit = try
		} else {
			most, last = try-1, misfit
		}
	}
	for _, m := range last {
		r := PlaceReason{Code: m.Code, Detail: m.Detail}
		if !slices.Contains(out.Reasons, r) {
			out.Reasons = append(out.Reasons, r)
		}
	}
	return out, nil
}

// refusal is misfit, or for what reason the rolls may not be booked there
// whatever fits.
func (sh *shop) refusal(ctx context.Context, e Session, rolls []Roll, may func([]Roll) error) ([]Misfit, error) {
	err := may(rolls)
	var no *lab.Refusal
	if errors.As(err, &no) {
		return []Misfit{{Roll: rolls[0].ID, Code: no.Code, Detail: no.Detail}}, nil
	}
	if err != nil {
		return nil, err
	}
	return sh.misfit(ctx, e, rolls)
}
