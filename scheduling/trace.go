package scheduling

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/chemistry"
	"wetside/lab"
)

// A Trace is all that a roll, a run, a bath or a kit has touched: the kits
// that their chemistry came from, every bath mixed of these, every run in
// those, and every roll in the runs.
type Trace struct {
	Of    string       `json:"of"`
	Kits  []TracedKit  `json:"kits"`
	Baths []TracedBath `json:"baths"`
	Runs  []TracedRun  `json:"runs"`
	Rolls []TracedRoll `json:"rolls"`
}

// A TraceLink is how near a thing is to what was asked for, nearest first.
type TraceLink string

// The links.
const (
	TraceItself TraceLink = "itself"     // what was asked for
	TraceRun    TraceLink = "same_run"   // in its run
	TraceBaths  TraceLink = "same_baths" // in its baths, in another run
	TraceKit    TraceLink = "same_kit"   // of its kit, in baths mixed another time
)

// A TracedKit is a kit in a trace.
type TracedKit struct {
	ID      string    `json:"id"`
	Name    string    `json:"name"`
	Process string    `json:"process"`
	Link    TraceLink `json:"link"`
}

// A TracedBath is a bath in a trace, with all its quarantines.
type TracedBath struct {
	ID          string                       `json:"id"`
	BathSet     string                       `json:"bath_set"`
	Kit         string                       `json:"kit"`
	Role        string                       `json:"role"`
	MixedAt     time.Time                    `json:"mixed_at"`
	State       chemistry.BathState          `json:"state"`
	Quarantines []chemistry.QuarantineRecord `json:"quarantines"`
	Link        TraceLink                    `json:"link"`
}

// A TracedRun is a run in a trace, with what its readings warned of.
type TracedRun struct {
	ID        string              `json:"id"`
	Batch     string              `json:"batch"`
	BathSet   string              `json:"bath_set"`
	Process   string              `json:"process"`
	Version   int64               `json:"process_version"`
	Outcome   RunOutcome          `json:"outcome"`
	StartedAt time.Time           `json:"started_at"`
	Note      string              `json:"note"`
	Override  *RunOverride        `json:"override,omitempty"`
	Warnings  []chemistry.Warning `json:"warnings"`
	Link      TraceLink           `json:"link"`
}

// A TracedRoll is a roll in a trace.
type TracedRoll struct {
	ID     string     `json:"id"`
	Member string     `json:"member"`
	Format string     `json:"format"`
	Status RollStatus `json:"status"`
	Run    string     `json:"run,omitempty"`
	Link   TraceLink  `json:"link"`
}

// seeds are the runs, bath sets and kits that what was asked for is in.
type seeds struct {
	runs, sets, kits []string
}

// FindTrace traces a roll, run, bath or kit, by its id. It refuses with NotFound.
func FindTrace(ctx context.Context, tx pgx.Tx, s lab.Scope, of string) (Trace, error) {
	out := Trace{Of: of, Kits: []TracedKit{}, Baths: []TracedBath{}, Runs: []TracedRun{}, Rolls: []TracedRoll{}}
	seed, err := seedsOf(ctx, tx, s, of)
	if err != nil {
		return Trace{}, err
	}
	for _, id := range seed.kits {
		k, err := chemistry.FindKit(ctx, tx, s.Lab.ID, id)
		if err != nil {
			return Trace{}, err
		}
		out.Kits = append(out.Kits, TracedKit{ID: k.ID, Name: k.Name, Process: k.Process, Link: itself(of, k.ID, TraceKit)})
	}
	sets, err := out.addBaths(ctx, tx, s, seed)
	if err != nil {
		return Trace{}, err
	}
	if err := out.addRuns(ctx, tx, s, seed, sets); err != nil {
		return Trace{}, err
	}
	return out, out.addRolls(ctx, tx, s)
}

// seedsOf finds where a trace begins.
func seedsOf(ctx context.Context, tx pgx.Tx, s lab.Scope, of string) (seeds, error) {
	var seed seeds
	var query string
	kind, _, _ := strings.Cut(of, "_")
	switch kind {
	case "roll":
		if _, err := FindRoll(ctx, tx, s, of); err != nil {
			return seed, err
		}
		query = `SELECT u.id, b.bath_set_id, b.kit_id FROM runs u
			JOIN batches b ON b.lab_id = u.lab_id AND b.id = u.batch_id
			JOIN batch_rolls br ON br.lab_id = b.lab_id AND br.batch_id = b.id AND br.live
			WHERE u.lab_id = $1 AND br.roll_id = $2`
	case "run":
		if _, err := FindRun(ctx, tx, s.Lab.ID, of); err != nil {
			return seed, err
		}
		query = `SELECT u.id, b.bath_set_id, b.kit_id FROM runs u
			JOIN batches b ON b.lab_id = u.lab_id AND b.id = u.batch_id WHERE u.lab_id = $1 AND u.id = $2`
	case "bath":
		bath, err := chemistry.FindBath(ctx, tx, s.Lab.ID, of, s.Now)
		if err != nil {
			return seed, err
		}
		set, err := chemistry.FindBathSet(ctx, tx, s.Lab.ID, bath.BathSet, s.Now)
		return seeds{sets: []string{set.ID}, kits: []string{set.Kit}}, err
	default:
		if _, err := chemistry.FindKit(ctx, tx, s.Lab.ID, of); err != nil {
			return seed, err
		}
		return seeds{kits: []string{of}}, nil
	}
	type link struct{ Run, Set, Kit string }
	links, err := many[link](ctx, tx, "trace", query, s.Lab.ID, of)
	for _, l := range links {
		seed.runs = append(seed.runs, l.Run)
		seed.sets = append(seed.sets, l.Set)
		if !slices.Contains(seed.kits, l.Kit) {
			seed.kits = append(seed.kits, l.Kit)
		}
	}
	return seed, err
}

// addBaths adds the baths of the seeds' kits, and gives their sets.
func (t *Trace) addBaths(ctx context.Context, tx pgx.Tx, s lab.Scope, seed seeds) (sets []string, err error) {
	mixed, err := chemistry.BathSetsOf(ctx, tx, s.Lab.ID, seed.kits, s.Now)
	if err != nil {
		return nil, err
	}
	var ids []string
	for _, set := range mixed {
		sets = append(sets, set.ID)
		link := TraceKit
		if slices.Contains(seed.sets, set.ID) {
			link = TraceBaths
		}
		for _, b := range set.Baths {
			ids = append(ids, b.ID)
			t.Baths = append(t.Baths, TracedBath{ID: b.ID, BathSet: set.ID, Kit: set.Kit, Role: b.Role, MixedAt: set.MixedAt,
				State: b.State, Quarantines: []chemistry.QuarantineRecord{}, Link: itself(t.Of, b.ID, link)})
		}
	}
	kept, err := chemistry.QuarantinesOf(ctx, tx, s.Lab.ID, ids)
	for _, q := range kept {
		b := &t.Baths[slices.Index(ids, q.Bath)]
		b.Quarantines = append(b.Quarantines, q)
	}
	return sets, err
}

func (t *Trace) addRuns(ctx context.Context, tx pgx.Tx, s lab.Scope, seed seeds, sets []string) error {
	rows, err := tx.Query(ctx, `
		SELECT u.id, u.batch_id, b.bath_set_id, b.process, (u.run_sheet->>'process_version')::bigint, u.outcome, u.started_at, u.note, u.override,
			(SELECT coalesce(jsonb_agg(w ORDER BY q.id), '[]') FROM readings q, jsonb_array_elements(q.warnings) AS w
			WHERE q.lab_id = u.lab_id AND q.run_id = u.id)
		FROM runs u JOIN batches b ON b.lab_id = u.lab_id AND b.id = u.batch_id
		WHERE u.lab_id = $1 AND b.bath_set_id = ANY($2) ORDER BY u.started_at, u.id`, s.Lab.ID, sets)
	if err != nil {
		return fmt.Errorf("trace runs: %w", err)
	}
	t.Runs, err = pgx.CollectRows(rows, func(row pgx.CollectableRow) (TracedRun, error) {
		var r TracedRun
		err := row.Scan(&r.ID, &r.Batch, &r.BathSet, &r.Process, &r.Version, &r.Outcome, &r.StartedAt, &r.Note, &r.Override, &r.Warnings)
		switch {
		case slices.Contains(seed.runs, r.ID):
			r.Link = itself(t.Of, r.ID, TraceRun)
		case slices.Contains(seed.sets, r.BathSet):
			r.Link = TraceBaths
		default:
			r.Link = TraceKit
		}
		return r, err
	})
	if err != nil {
		return fmt.Errorf("trace runs: %w", err)
	}
	return nil
}

// addRolls adds the rolls of the runs and, where it is in none yet, the one
// that was asked for.
func (t *Trace) addRolls(ctx context.Context, tx pgx.Tx, s lab.Scope) error {
	batches := make([]string, len(t.Runs))
	for i, r := range t.Runs {
		batches[i] = r.Batch
	}
	rolls, err := queryRolls(ctx, tx, s.Lab.ID, s.Now, "AND (br.batch_id = ANY($3) OR r.id = $4) ORDER BY r.id", batches, t.Of)
	if err != nil {
		return err
	}
	for _, r := range rolls {
		traced := TracedRoll{ID: r.ID, Member: r.Member, Format: r.Format, Status: r.Status, Link: TraceKit}
		for _, run := range t.Runs {
			if r.Batch == nil || run.Batch != *r.Batch {
				continue
			}
			traced.Run, traced.Link = run.ID, run.Link
			if run.Link == TraceItself {
				traced.Link = TraceRun
			}
		}
		traced.Link = itself(t.Of, r.ID, traced.Link)
		t.Rolls = append(t.Rolls, traced)
	}
	return nil
}

func itself(of, id string, link TraceLink) TraceLink {
	if id == of {
		return TraceItself
	}
	return link
}
