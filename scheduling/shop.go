package scheduling

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/chemistry"
	"wetside/lab"
	"wetside/lab/units"
	"wetside/scheduling/planner"
)

// A shop is all of a lab that planning depends on, read at one instant; from
// it planning problems are made without further reading.
type shop struct {
	s lab.Scope
	equipment
	formats   map[string]chemistry.Format
	processes map[string]chemistry.Process
	sets      []chemistry.BathSet
	kits      []chemistry.Kit
	// bought is every kit, by id, those all mixed too.
	bought map[string]chemistry.Kit
	// sessions are those to come, and those that standing batches are in.
	sessions map[string]Session
	// booked rolls hold a place in a session to come; shelf rolls hold none.
	booked, shelf []Roll
	standing      []standing
	pins, bans    []Direction

	// What booking asks again and again, once known: see released and displacedBefore.
	opened *shop
	before []planner.LeftOut
}

// standing is a batch that is planned, or that is run and still has reels or
// film drying.
type standing struct {
	placed planner.Batch
	// done says that its run is recorded: its baths have counted it already.
	done  bool
	films []Roll
	push  int
	dev   units.Duration
}

// readShop reads the lab as it is at the scope's instant.
func readShop(ctx context.Context, tx pgx.Tx, s lab.Scope) (*shop, error) {
	sh := &shop{s: s, formats: map[string]chemistry.Format{}, processes: map[string]chemistry.Process{}, sessions: map[string]Session{},
		bought: map[string]chemistry.Kit{}}
	var err error
	if sh.equipment, err = readEquipment(ctx, tx, s.Lab.ID); err != nil {
		return nil, err
	}
	formats, err := chemistry.Formats(ctx, tx, s.Lab.ID)
	if err != nil {
		return nil, err
	}
	for _, f := range formats {
		sh.formats[f.Code] = f
	}
	processes, err := chemistry.Processes(ctx, tx, s.Lab.ID)
	if err != nil {
		return nil, err
	}
	for _, p := range processes {
		sh.processes[p.Code] = p
	}
	if sh.sets, err = chemistry.OpenBathSets(ctx, tx, s.Lab.ID, s.Now); err != nil {
		return nil, err
	}
	if sh.kits, err = chemistry.KitsOnShelf(ctx, tx, s.Lab.ID, s.Now); err != nil {
		return nil, err
	}
	kits, err := chemistry.ListKits(ctx, tx, s.Lab.ID, everything)
	if err != nil {
		return nil, err
	}
	for _, k := range kits.Items {
		sh.bought[k.ID] = k
	}
	if err := sh.readStanding(ctx, tx); err != nil {
		return nil, err
	}
	if err := sh.readSessions(ctx, tx); err != nil {
		return nil, err
	}
	if err := sh.readRolls(ctx, tx); err != nil {
		return nil, err
	}
	return sh, sh.readDirections(ctx, tx)
}

// longestDrying bounds how long after a run its reels and film are looked at.
const longestDrying = 7 * 24 * time.Hour

func (sh *shop) readStanding(ctx context.Context, tx pgx.Tx) error {
	type row struct {
		ID        string
		Placed    json.RawMessage
		Push      int
		Dev       units.Duration
		BathSet   *string
		Mixes     bool
		StartedAt *time.Time
		EndedAt   *time.Time
		Rolls     []string
	}
	rows, err := many[row](ctx, tx, "standing batches", `
		SELECT b.id, b.placed, b.push, b.developing_s, b.bath_set_id, b.mixes, u.started_at, u.ended_at,
			ARRAY(SELECT br.roll_id FROM batch_rolls br WHERE br.lab_id = b.lab_id AND br.batch_id = b.id ORDER BY br.roll_id)
		FROM batches b LEFT JOIN runs u ON u.lab_id = b.lab_id AND u.batch_id = b.id
		WHERE b.lab_id = $1 AND (b.status = 'planned' OR u.ended_at > $2)
		ORDER BY b.start_at, b.id`, sh.s.Lab.ID, sh.s.Now.Add(-longestDrying))
	if err != nil {
		return err
	}
	var ids []string
	for _, r := range rows {
		st := standing{push: r.Push, dev: r.Dev, done: r.EndedAt != nil}
		if err := json.Unmarshal(r.Placed, &st.placed); err != nil {
			return fmt.Errorf("read batch %s: %w", r.ID, err)
		}
		st.placed.ID = r.ID
		if r.BathSet != nil {
			// The kit has been mixed since.
			st.placed.BathSet, st.placed.Mixes = *r.BathSet, false
		}
		if st.done {
			took := r.EndedAt.Sub(*r.StartedAt)
			wet := min(st.placed.End.Sub(st.placed.Wet), took)
			st.placed.Start, st.placed.Wet, st.placed.End = *r.StartedAt, r.EndedAt.Add(-wet), *r.EndedAt
			st.placed.Clear = *r.EndedAt
		}
		ids = append(ids, r.Rolls...)
		sh.standing = append(sh.standing, st)
	}
	films, err := queryRolls(ctx, tx, sh.s.Lab.ID, sh.s.Now, "AND r.id = ANY($3)", ids)
	if err != nil {
		return err
	}
	byID := map[string]Roll{}
	for _, f := range films {
		byID[f.ID] = f
	}
	for i := range sh.standing {
		for _, pl := range sh.standing[i].placed.Rolls {
			sh.standing[i].films = append(sh.standing[i].films, byID[pl.Roll])
		}
	}
	sh.standing = slices.DeleteFunc(sh.standing, sh.dryAgain)
	return nil
}

// dryAgain says that neither reels nor film of a batch that was run dry any more.
func (sh *shop) dryAgain(st standing) bool {
	if !st.done {
		return false
	}
	last := st.placed.End
	for _, u := range st.placed.Reels {
		for _, k := range sh.reels {
			if k.Code == u.Kind {
				last = later(last, st.placed.End.Add(k.Drying.Std()))
			}
		}
	}
	for _, pl := range st.placed.Rolls {
		for _, c := range sh.cabinets {
			if c.ID == pl.Cabinet {
				last = later(last, st.placed.End.Add(c.Drying.Std()))
			}
		}
	}
	return !last.After(sh.s.Now)
}

func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

func (sh *shop) readSessions(ctx context.Context, tx pgx.Tx) error {
	var standing []string
	for _, st := range sh.standing {
		standing = append(standing, st.placed.Session)
	}
	sessions, err := many[Session](ctx, tx, "sessions",
		sessionQuery+` AND (e.cancelled_at IS NULL AND upper(e.during) > $2 OR e.id = ANY($3))`,
		sh.s.Lab.ID, sh.s.Now, standing)
	if err != nil {
		return err
	}
	for _, e := range sessions {
		sh.sessions[e.ID] = e
	}
	return nil
}

func (sh *shop) readRolls(ctx context.Context, tx pgx.Tx) error {
	rolls, err := queryRolls(ctx, tx, sh.s.Lab.ID, sh.s.Now, "AND r.status = 'on_shelf' ORDER BY r.id")
	if err != nil {
		return err
	}
	for _, r := range rolls {
		if r.Session != nil {
			// A place in a session that is over holds nothing any more.
			if e, ok := sh.sessions[*r.Session]; ok && e.End.After(sh.s.Now) {
				sh.booked = append(sh.booked, r)
				continue
			}
		}
		sh.shelf = append(sh.shelf, r)
	}
	return nil
}

func (sh *shop) readDirections(ctx context.Context, tx pgx.Tx) error {
	var err error
	if sh.pins, err = openDirections(ctx, tx, sh.s.Lab.ID, Pin); err != nil {
		return err
	}
	if sh.bans, err = openDirections(ctx, tx, sh.s.Lab.ID, Ban); err != nil {
		return err
	}
	return nil
}

// openDirections reads the pins or bans of rolls still on the shelf.
func openDirections(ctx context.Context, tx pgx.Tx, labID string, kind DirectionKind) ([]Direction, error) {
	return many[Direction](ctx, tx, "directions", `
		SELECT d.id, d.roll_id, d.session_id, d.given_by, d.given_at
		FROM directions d JOIN rolls r ON r.lab_id = d.lab_id AND r.id = d.roll_id
		WHERE d.lab_id = $1 AND d.kind = $2 AND r.status = 'on_shelf' ORDER BY d.id`, labID, string(kind))
}
