package chemistry

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

const selectSets = `
	SELECT b.id, b.kit_id, k.process, b.mixed_at, b.mixed_by
	FROM bath_sets b JOIN kits k ON k.lab_id = b.lab_id AND k.id = b.kit_id
	WHERE b.lab_id = $1 `

const selectBaths = `
	SELECT b.id, b.bath_set_id, b.definition, b.volume_left_ml, b.used_area_mm2, b.used_runs,
		b.expires_at, l.area_rule, b.discarded_at, coalesce(b.discarded_to, ''), b.version, b.storage,
		coalesce((SELECT sum(u.volume_ml) FROM top_ups u WHERE u.lab_id = b.lab_id AND u.bath_id = b.id), 0)::bigint,
		(SELECT jsonb_build_object('because', q.because, 'by', q.imposed_by, 'at', q.imposed_at)
			FROM quarantines q WHERE q.lab_id = b.lab_id AND q.bath_id = b.id AND q.lifted_at IS NULL)
	FROM baths b JOIN labs l ON l.id = b.lab_id
	WHERE b.lab_id = $1 `

// FindBathSet reads a bath set as it stands at now. It refuses with NotFound.
func FindBathSet(ctx context.Context, tx pgx.Tx, labID, id string, now time.Time) (BathSet, error) {
	sets, err := manySets(ctx, tx, now, selectSets+`AND b.id = $2`, labID, id)
	if err != nil {
		return BathSet{}, err
	}
	if len(sets) != 1 {
		return BathSet{}, notFound("bath set")
	}
	return sets[0], nil
}

// ListBathSets is a page of the lab's bath sets as they stand at now, in the
// order in which they were entered.
func ListBathSets(ctx context.Context, tx pgx.Tx, labID string, now time.Time, page lab.Page) (lab.List[BathSet], error) {
	sets, err := manySets(ctx, tx, now, selectSets+`AND b.id > $2 ORDER BY b.id LIMIT $3`, labID, page.After, page.Limit+1)
	if err != nil {
		return lab.List[BathSet]{}, err
	}
	return lab.Cut(sets, page, func(s BathSet) string { return s.ID }), nil
}

// BathSetsOf are all the bath sets mixed of some kits, in the order in which
// they were entered.
func BathSetsOf(ctx context.Context, tx pgx.Tx, labID string, kits []string, now time.Time) ([]BathSet, error) {
	return manySets(ctx, tx, now, selectSets+`AND b.kit_id = ANY($2) ORDER BY b.id`, labID, kits)
}

// OpenBathSets are the bath sets that a run may still use: no bath of theirs
// is discarded or in quarantine, and their kit is not closed. Expired and exhausted ones are
// among them; their baths' states say so.
func OpenBathSets(ctx context.Context, tx pgx.Tx, labID string, now time.Time) ([]BathSet, error) {
	return manySets(ctx, tx, now, selectSets+`
		AND k.closed_at IS NULL
		AND NOT EXISTS (
			SELECT FROM baths d
			WHERE d.lab_id = b.lab_id AND d.bath_set_id = b.id AND d.discarded_at IS NOT NULL)
		AND NOT EXISTS (
			SELECT FROM quarantines q JOIN baths d ON d.lab_id = q.lab_id AND d.id = q.bath_id
			WHERE q.lab_id = b.lab_id AND d.bath_set_id = b.id AND q.lifted_at IS NULL)
		ORDER BY b.id`, labID)
}

// FindBath reads a bath as it stands at now. It refuses with NotFound.
func FindBath(ctx context.Context, tx pgx.Tx, labID, id string, now time.Time) (Bath, error) {
	return oneBath(ctx, tx, now, selectBaths+`AND b.id = $2`, labID, id)
}

func oneBath(ctx context.Context, tx pgx.Tx, now time.Time, query string, args ...any) (Bath, error) {
	baths, err := manyBaths(ctx, tx, now, query, args...)
	if err != nil {
		return Bath{}, err
	}
	if len(baths) != 1 {
		return Bath{}, notFound("bath")
	}
	return baths[0], nil
}

func manyBaths(ctx context.Context, tx pgx.Tx, now time.Time, query string, args ...any) ([]Bath, error) {
	rows, err := tx.Query(ctx, query, args...)
	if err != nil {
		return nil, fmt.Errorf("read baths: %w", err)
	}
	baths, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (Bath, error) {
		var b Bath
		err := row.Scan(&b.ID, &b.BathSet, &b.BathDefinition, &b.VolumeLeftML, &b.UsedAreaMM2, &b.UsedRuns,
			&b.ExpiresAt, &b.AreaRule, &b.DiscardedAt, &b.DiscardedTo, &b.Version, &b.Storage, &b.ToppedUpML, &b.Quarantine)
		return b.at(now), err
	})
	if err != nil {
		return nil, fmt.Errorf("read baths: %w", err)
	}
	return baths, nil
}

// manySets reads sets by a query whose first argument is the lab, and their
// baths, which are in the order in which the kit has them.
func manySets(ctx context.Context, tx pgx.Tx, now time.Time, query string, args ...any) ([]BathSet, error) {
	rows, err := tx.Query(ctx, query, args...)
	if err != nil {
		return nil, fmt.Errorf("read bath sets: %w", err)
	}
	sets, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (BathSet, error) {
		s := BathSet{Baths: []Bath{}}
		err := row.Scan(&s.ID, &s.Kit, &s.Process, &s.MixedAt, &s.MixedBy)
		return s, err
	})
	if err != nil {
		return nil, fmt.Errorf("read bath sets: %w", err)
	}
	byID := map[string]int{}
	ids := make([]string, len(sets))
	for i, s := range sets {
		byID[s.ID], ids[i] = i, s.ID
	}
	baths, err := manyBaths(ctx, tx, now, selectBaths+`AND b.bath_set_id = ANY($2) ORDER BY b.id`, args[0], ids)
	if err != nil {
		return nil, err
	}
	for _, b := range baths {
		s := &sets[byID[b.BathSet]]
		s.Baths = append(s.Baths, b)
	}
	return sets, nil
}
