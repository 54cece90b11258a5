package scheduling

import (
	"context"
	"fmt"
	"slices"

	"github.com/jackc/pgx/v5"

	"wetside/chemistry"
	"wetside/lab"
)

// A BathAnswer is a bath, and what becomes of it at the pace it is booked at.
type BathAnswer struct {
	chemistry.Bath
	Outlook chemistry.Outlook `json:"outlook"`
}

// FindBath reads a bath as it stands at the scope's instant, and foresees it.
// It refuses with NotFound.
func FindBath(ctx context.Context, tx pgx.Tx, s lab.Scope, id string) (BathAnswer, error) {
	b, err := chemistry.FindBath(ctx, tx, s.Lab.ID, id, s.Now)
	if err != nil {
		return BathAnswer{}, err
	}
	set, err := chemistry.FindBathSet(ctx, tx, s.Lab.ID, b.BathSet, s.Now)
	if err != nil {
		return BathAnswer{}, err
	}
	demands, err := demandsOn(ctx, tx, s, set)
	if err != nil {
		return BathAnswer{}, err
	}
	return BathAnswer{Bath: b, Outlook: b.Outlook(b.Wear(), demands, s.Now)}, nil
}

// demandsOn are the runs to come that a bath set may see: its planned batches
// and, session by session, booked rolls of its process that no batch has yet.
func demandsOn(ctx context.Context, tx pgx.Tx, s lab.Scope, set chemistry.BathSet) ([]chemistry.Demand, error) {
	rows, err := tx.Query(ctx, `
		SELECT b.wet_at, sum(f.area)::bigint, (
			SELECT sum((u->>'count')::bigint * k.solution_ml)
			FROM jsonb_array_elements(b.placed->'reels') AS u
			JOIN reel_kinds k ON k.lab_id = b.lab_id AND k.code = u->>'kind')::bigint
		FROM batches b
		JOIN batch_rolls br ON br.lab_id = b.lab_id AND br.batch_id = b.id AND br.live
		JOIN (SELECT lab_id, id, CASE $3 WHEN 'geometric' THEN geometric_area_mm2 ELSE trade_area_mm2 END AS area FROM rolls) AS f
			ON f.lab_id = br.lab_id AND f.id = br.roll_id
		WHERE b.lab_id = $1 AND b.status = 'planned' AND b.bath_set_id = $2
		GROUP BY b.lab_id, b.id
		UNION ALL
		SELECT e.starts_at, sum(CASE $3 WHEN 'geometric' THEN r.geometric_area_mm2 ELSE r.trade_area_mm2 END)::bigint,
			sum((k.solution_ml + k.holds - 1) / k.holds)::bigint
		FROM rolls r
		JOIN booking_rolls br ON br.lab_id = r.lab_id AND br.roll_id = r.id AND br.live
		JOIN bookings b ON b.lab_id = br.lab_id AND b.id = br.booking_id AND (b.confirmed_at IS NOT NULL OR b.held_until > $5)
		JOIN sessions e ON e.lab_id = b.lab_id AND e.id = b.session_id
		JOIN reel_kinds k ON k.lab_id = r.lab_id AND k.code = r.reel_kind
		WHERE r.lab_id = $1 AND r.status = 'on_shelf' AND r.process = $4 AND e.ends_at > $5
		GROUP BY e.lab_id, e.id
		ORDER BY 1`, s.Lab.ID, set.ID, string(s.Lab.AreaRule), set.Process, s.Now)
	if err != nil {
		return nil, fmt.Errorf("read what is booked on a bath set: %w", err)
	}
	demands, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (chemistry.Demand, error) {
		var d chemistry.Demand
		err := row.Scan(&d.At, &d.AreaMM2, &d.SolutionML)
		return d, err
	})
	if err != nil {
		return nil, fmt.Errorf("read what is booked on a bath set: %w", err)
	}
	return demands, nil
}

// A WhatIf is how much more a bath takes, by itself and with its set.
type WhatIf struct {
	Bath     string                `json:"bath"`
	AreaRule lab.AreaRule          `json:"area_rule"`
	Rolls    []MoreRolls           `json:"rolls"`
	Time     *chemistry.TimeLimit  `json:"time,omitempty"`
	Kept     *chemistry.Quarantine `json:"quarantine,omitempty"`
	Cautions []string              `json:"cautions"`
}

// MoreRolls is how many more rolls of a format a bath takes: by itself, and
// with the other baths of its set, which is what a plan can count on. A number
// that is left out is bounded by age alone.
type MoreRolls struct {
	Format   string          `json:"format"`
	Name     string          `json:"name"`
	Rolls    *int64          `json:"rolls,omitempty"`
	Binds    chemistry.Limit `json:"binds"`
	SetRolls *int64          `json:"set_rolls,omitempty"`
	SetBinds string          `json:"set_binds"`
}

// FindWhatIf says how many more rolls of each format a bath takes, and when
// its step's time will pass its longest. It refuses with NotFound.
func FindWhatIf(ctx context.Context, tx pgx.Tx, s lab.Scope, id string) (WhatIf, error) {
	b, err := chemistry.FindBath(ctx, tx, s.Lab.ID, id, s.Now)
	if err != nil {
		return WhatIf{}, err
	}
	set, err := chemistry.FindBathSet(ctx, tx, s.Lab.ID, b.BathSet, s.Now)
	if err != nil {
		return WhatIf{}, err
	}
	formats, err := chemistry.Formats(ctx, tx, s.Lab.ID)
	if err != nil {
		return WhatIf{}, err
	}
	eq, err := readEquipment(ctx, tx, s.Lab.ID)
	if err != nil {
		return WhatIf{}, err
	}
	out := WhatIf{Bath: b.ID, AreaRule: s.Lab.AreaRule, Rolls: []MoreRolls{}, Kept: b.Quarantine, Cautions: b.Cautions}
	for _, f := range formats {
		// A format that no reel of the lab takes is none of its kinds.
		if !slices.ContainsFunc(eq.reels, func(k lab.ReelKind) bool { return k.Code == f.ReelKind }) {
			continue
		}
		reel := eq.reel(f.ReelKind)
		area, solution := f.Areas(f.LengthMM).By(s.Lab.AreaRule), (reel.SolutionML+reel.Holds-1)/reel.Holds
		more := MoreRolls{Format: f.Code, Name: f.Name, Binds: chemistry.LimitLife, SetBinds: string(chemistry.LimitLife)}
		if n, binds, bounded := b.MoreRolls(b.Wear(), area, solution, s.Now); bounded {
			more.Rolls, more.Binds = &n, binds
		}
		for _, other := range set.Baths {
			n, binds, bounded := other.MoreRolls(other.Wear(), area, solution, s.Now)
			if bounded && (more.SetRolls == nil || n < *more.SetRolls) {
				more.SetRolls, more.SetBinds = &n, other.Role+": "+string(binds)
			}
		}
		out.Rolls = append(out.Rolls, more)
	}
	out.Time, err = timeLimit(ctx, tx, s, b, set)
	return out, err
}

// timeLimit is when the time of a bath's step will pass its longest.
func timeLimit(ctx context.Context, tx pgx.Tx, s lab.Scope, b chemistry.Bath, set chemistry.BathSet) (*chemistry.TimeLimit, error) {
	p, err := chemistry.FindProcess(ctx, tx, s.Lab.ID, set.Process, 0)
	if err != nil {
		return nil, err
	}
	at := slices.IndexFunc(p.Steps, func(st chemistry.Step) bool { return !st.Water && st.Role == b.Role })
	if at < 0 {
		return nil, nil
	}
	limit := b.TimeLimit(p.Steps[at], b.UsedAreaMM2)
	if limit == nil || limit.MoreMM2 == nil {
		return limit, nil
	}
	demands, err := demandsOn(ctx, tx, s, set)
	if err != nil {
		return nil, err
	}
	limit.PassesAt = chemistry.Reaches(demands, s.Now, *limit.MoreMM2)
	return limit, nil
}
