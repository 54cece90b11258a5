package scheduling

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/lab/units"
)

// A Roll is one piece of exposed film that a member handed in.
type Roll struct {
	ID       string `json:"id"`
	Member   string `json:"member"`
	Format   string `json:"format"`
	LengthMM int64  `json:"length_mm"`
	Process  string `json:"process"`
	// Push is in stops; negative is pull.
	Push int `json:"push"`
	// Developing is the film's own time, where the process asks for one (black-and-white).
	Developing *units.Duration `json:"developing,omitempty"`
	Area       FilmArea        `json:"area_mm2"`
	ReelKind   string          `json:"reel_kind"`
	Priority   int64           `json:"priority"`
	Due        *time.Time      `json:"due,omitempty"`
	Note       string          `json:"note"`
	HandedInAt time.Time       `json:"handed_in_at"`
	Status     RollStatus      `json:"status"`
	// Session is where it is booked, Batch what it is in or went through.
	Session *string `json:"session,omitempty"`
	Batch   *string `json:"batch,omitempty"`
	// DryAt is when it will be dry, by its plan until its run is recorded.
	DryAt   *time.Time `json:"dry_at,omitempty"`
	Version int64      `json:"-"`
}

// Revision is the roll's version, for conditional requests.
func (r Roll) Revision() int64 { return r.Version }

// FilmArea is both areas of a piece of film and which of them the lab counts.
type FilmArea struct {
	Trade     int64        `json:"trade"`
	Geometric int64        `json:"geometric"`
	Counts    lab.AreaRule `json:"counts"`
}

// Counted is the area that capacities and charges go by.
func (a FilmArea) Counted() int64 {
	if a.Counts == lab.GeometricArea {
		return a.Geometric
	}
	return a.Trade
}

// A RollStatus is how far a roll has come.
type RollStatus string

// The statuses, in order. Booked is a roll on the shelf with a place in a
// session; drying turns into ready by itself at the roll's DryAt.
const (
	OnShelf   RollStatus = "on_shelf"
	Booked    RollStatus = "booked"
	Batched   RollStatus = "batched"
	Drying    RollStatus = "drying"
	Ready     RollStatus = "ready"
	Spoiled   RollStatus = "spoiled"
	Collected RollStatus = "collected"
	Withdrawn RollStatus = "withdrawn"
)

// rollQuery selects rolls as scanRoll reads them; $1 is the lab, $2 now.
const rollQuery = `
	SELECT r.id, r.member_id, r.format, r.length_mm, r.process, r.push, r.developing_s,
		r.trade_area_mm2, r.geometric_area_mm2, l.area_rule, r.reel_kind, r.priority, r.due, r.note, r.handed_in_at,
		CASE
			WHEN r.status = 'on_shelf' AND b.id IS NOT NULL THEN 'booked'
			WHEN r.status = 'processed' AND r.dry_at > $2 THEN 'drying'
			WHEN r.status = 'processed' THEN 'ready'
			ELSE r.status
		END,
		b.session_id, br.batch_id, coalesce(r.dry_at, br.dry_at), r.version
	FROM rolls r
	JOIN labs l ON l.id = r.lab_id
	LEFT JOIN booking_rolls k ON k.lab_id = r.lab_id AND k.roll_id = r.id AND k.live
	LEFT JOIN bookings b ON b.lab_id = k.lab_id AND b.id = k.booking_id AND (b.confirmed_at IS NOT NULL OR b.held_until > $2)
	LEFT JOIN batch_rolls br ON br.lab_id = r.lab_id AND br.roll_id = r.id AND br.live
	WHERE r.lab_id = $1`

func scanRoll(row pgx.CollectableRow) (Roll, error) {
	var r Roll
	err := row.Scan(&r.ID, &r.Member, &r.Format, &r.LengthMM, &r.Process, &r.Push, &r.Developing,
		&r.Area.Trade, &r.Area.Geometric, &r.Area.Counts, &r.ReelKind, &r.Priority, &r.Due, &r.Note, &r.HandedInAt,
		&r.Status, &r.Session, &r.Batch, &r.DryAt, &r.Version)
	return r, err
}

func queryRolls(ctx context.Context, tx pgx.Tx, labID string, now time.Time, where string, args ...any) ([]Roll, error) {
	rows, err := tx.Query(ctx, rollQuery+" "+where, append([]any{labID, now}, args...)...)
	if err != nil {
		return nil, fmt.Errorf("read rolls: %w", err)
	}
	rolls, err := pgx.CollectRows(rows, scanRoll)
	if err != nil {
		return nil, fmt.Errorf("read rolls: %w", err)
	}
	return rolls, nil
}

// FindRoll reads a roll that the member may see: their own, or any for a
// steward. It refuses with NotFound.
func FindRoll(ctx context.Context, tx pgx.Tx, s lab.Scope, id string) (Roll, error) {
	rolls, err := queryRolls(ctx, tx, s.Lab.ID, s.Now, "AND r.id = $3", id)
	if err != nil {
		return Roll{}, err
	}
	if len(rolls) == 0 || rolls[0].Member != s.By.ID && !s.By.Has(lab.RoleSteward) {
		return Roll{}, lab.Refuse(lab.NotFound, "not-found", "there is no such roll")
	}
	return rolls[0], nil
}

// A RollFilter narrows a list of rolls; empty fields do not.
type RollFilter struct {
	Status string
	Member string
}

// ListRolls reads the rolls that the member may see, oldest first: their own,
// or everybody's for a steward.
func ListRolls(ctx context.Context, tx pgx.Tx, s lab.Scope, f RollFilter, p lab.Page) (lab.List[Roll], error) {
	if !s.By.Has(lab.RoleSteward) {
		if f.Member != "" && f.Member != s.By.ID {
			return lab.List[Roll]{Items: []Roll{}}, nil
		}
		f.Member = s.By.ID
	}
	rows, err := tx.Query(ctx, `SELECT * FROM (`+rollQuery+`) AS r (id, member_id, format, length_mm, process, push,
			developing_s, trade, geometric, rule, reel_kind, priority, due, note, handed_in_at, status, session_id,
			batch_id, dry_at, version)
		WHERE r.id > $3 AND ($4 = '' OR r.status = $4) AND ($5 = '' OR r.member_id = $5)
		ORDER BY r.id LIMIT $6`, s.Lab.ID, s.Now, p.After, f.Status, f.Member, p.Limit+1)
	if err != nil {
		return lab.List[Roll]{}, fmt.Errorf("list rolls: %w", err)
	}
	rolls, err := pgx.CollectRows(rows, scanRoll)
	if err != nil {
		return lab.List[Roll]{}, fmt.Errorf("list rolls: %w", err)
	}
	return lab.Cut(rolls, p, func(r Roll) string { return r.ID }), nil
}
