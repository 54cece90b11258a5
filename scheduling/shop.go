package scheduling

import (
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/chemistry"
	"wetside/lab"
	"wetside/lab/database"
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
	// open is every kit that is not closed, by id, those all mixed too.
	open map[string]chemistry.Kit
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
	sh := &shop{s: s}
	return sh, database.Together(ctx, tx, sh.reads(ctx, "")...)
}

// bookedOnly, for reads, leaves the shelf unread: what is booked does not depend on it.
const bookedOnly = "AND b.id IS NOT NULL"

// reads are what it takes to read the lab, to be run together; rolls narrows the
// rolls on the shelf and booked. They overwrite what was read before.
func (sh *shop) reads(ctx context.Context, rolls string) []func(pgx.Tx) error {
	labID, now := sh.s.Lab.ID, sh.s.Now
	sh.opened, sh.before = nil, nil
	return append(sh.equipment.reads(ctx, labID),
		func(tx pgx.Tx) error {
			formats, err := chemistry.Formats(ctx, tx, labID)
			sh.formats = byKey(formats, func(f chemistry.Format) string { return f.Code })
			return err
		},
		func(tx pgx.Tx) error {
			processes, err := chemistry.Processes(ctx, tx, labID)
			sh.processes = byKey(processes, func(p chemistry.Process) string { return p.Code })
			return err
		},
		func(tx pgx.Tx) (err error) {
			sh.sets, err = chemistry.OpenBathSets(ctx, tx, labID, now)
			return err
		},
		func(tx pgx.Tx) (err error) {
			sh.kits, err = chemistry.KitsOnShelf(ctx, tx, labID, now)
			return err
		},
		func(tx pgx.Tx) error {
			kits, err := chemistry.OpenKits(ctx, tx, labID)
			sh.open = byKey(kits, func(k chemistry.Kit) string { return k.ID })
			return err
		},
		// Each goes by what those before it have read: the standing batches by the
		// equipment and, once their films are there, by the sessions.
		func(tx pgx.Tx) error { return sh.readStanding(ctx, tx) },
		func(tx pgx.Tx) error { return sh.readSessions(ctx, tx) },
		func(tx pgx.Tx) error { return sh.readRolls(ctx, tx, rolls) },
		func(tx pgx.Tx) (err error) {
			sh.pins, err = openDirections(ctx, tx, labID, Pin)
			return err
		},
		func(tx pgx.Tx) (err error) {
			sh.bans, err = openDirections(ctx, tx, labID, Ban)
			return err
		})
}

// byKey is items by their keys.
func byKey[T any](items []T, key func(T) string) map[string]T {
	out := make(map[string]T, len(items))
	for _, x := range items {
		out[key(x)] = x
	}
	return out
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
		WHERE b.lab_id = $1 AND b.id = ANY(ARRAY(
			SELECT id FROM batches WHERE lab_id = $1 AND status = 'planned'
			UNION ALL SELECT batch_id FROM runs WHERE lab_id = $1 AND ended_at > $2))
		ORDER BY b.start_at, b.id`, sh.s.Lab.ID, sh.s.Now.Add(-longestDrying))
	if err != nil {
		return err
	}
	var ids []string
	sh.standing = nil
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
	if len(ids) == 0 {
		return nil
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
	// The sessions have been read meanwhile, those of all such batches too.
	maps.DeleteFunc(sh.sessions, func(_ string, e Session) bool {
		return e.open(sh.s.Now) != nil && !slices.ContainsFunc(sh.standing, func(st standing) bool { return st.placed.Session == e.ID })
	})
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
	sessions, err := many[Session](ctx, tx, "sessions", sessionQuery+`
			AND (e.cancelled_at IS NULL AND e.ends_at > $2 AND e.starts_at > $2::timestamptz - interval '1 day' -- none is longer
				OR e.id = ANY(ARRAY(SELECT b.session_id FROM batches b WHERE b.lab_id = $1 AND b.status = 'planned'
					UNION ALL SELECT b.session_id FROM runs u JOIN batches b ON b.lab_id = u.lab_id AND b.id = u.batch_id
						WHERE u.lab_id = $1 AND u.ended_at > $3)))`, sh.s.Lab.ID, sh.s.Now, sh.s.Now.Add(-longestDrying))
	sh.sessions = byKey(sessions, func(e Session) string { return e.ID })
	return err
}

func (sh *shop) readRolls(ctx context.Context, tx pgx.Tx, narrowed string) error {
	rolls, err := queryRolls(ctx, tx, sh.s.Lab.ID, sh.s.Now, "AND r.status = 'on_shelf' "+narrowed+" ORDER BY r.id")
	if err != nil {
		return err
	}
	sh.booked, sh.shelf = nil, nil
	for _, r := range rolls {
		if r.Session != nil {
			// A place in a session that is over holds nothing any more.
			if e, ok := sh.sessions[*r.Session]; ok && e.End.After(sh.s.Now) {
				if !sh.tooFar(e) {
					sh.booked = append(sh.booked, r)
				}
				continue
			}
		}
		sh.shelf = append(sh.shelf, r)
	}
	return nil
}

// farthest is how far ahead film is booked: well within what a plan may span
// (planner.Problem), and longer than any chemistry lives.
const farthest = 365 * 24 * time.Hour

// tooFar says whether a session is farther ahead than anything is booked. Rolls
// can be booked there all the same where the clock was turned back since; they
// hold their place, which nothing planned today can take from them.
func (sh *shop) tooFar(e Session) bool { return e.End.After(sh.s.Now.Add(farthest)) }

// openDirections reads the pins or bans of rolls still on the shelf.
func openDirections(ctx context.Context, tx pgx.Tx, labID string, kind DirectionKind) ([]Direction, error) {
	return many[Direction](ctx, tx, "directions", `
		SELECT d.id, d.roll_id, d.session_id, d.given_by, d.given_at
		FROM directions d JOIN rolls r ON r.lab_id = d.lab_id AND r.id = d.roll_id
		WHERE d.lab_id = $1 AND d.kind = $2 AND r.status = 'on_shelf' ORDER BY d.id`, labID, string(kind))
}
