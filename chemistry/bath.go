package chemistry

import (
	"time"

	"wetside/lab/units"
)

// A BathDefinition is one bath that a portion of a kit makes: what it holds,
// carries and lasts. A limit that is not given does not bind.
type BathDefinition struct {
	Role     string  `json:"role"`
	Use      BathUse `json:"use"`
	VolumeML int64   `json:"volume_ml"`
	// AreaMM2 and Runs are all the film, and all the runs, that it carries.
	AreaMM2 *int64 `json:"area_mm2,omitempty"`
	Runs    *int64 `json:"runs,omitempty"`
	// Life is from mixing, in a full and tightly closed bottle; see Storage.
	Life units.Duration `json:"life"`
	// RunMM2PerL is the film that one litre carries in one run.
	RunMM2PerL *int64 `json:"run_mm2_per_l,omitempty"`
	// Correction lengthens the step as the bath is used.
	Correction Correction `json:"correction,omitempty"`
	// CorrectionRate does the same in place of a table.
	CorrectionRate *CorrectionRate `json:"correction_rate,omitempty"`
	// ReplenishMLPerM2 is what a replenished bath is topped up by.
	ReplenishMLPerM2 *int64 `json:"replenish_ml_per_m2,omitempty"`
	// Concentrates are what a litre of it is made of, in the order of mixing.
	Concentrates []Concentrate `json:"concentrates,omitempty"`
	// Limits are what readings of it should be.
	Limits *BathLimits `json:"limits,omitempty"`
	// Source says where the figures come from, such as the supplier's sheet.
	Source string `json:"source,omitempty"`
}

// A BathUse is what becomes of a solution after a run.
type BathUse string

// The ways of use.
const (
	Reused      BathUse = "reused"      // it goes back whole, and later steps are corrected
	OneShot     BathUse = "one_shot"    // what a run took is poured away
	Replenished BathUse = "replenished" // it goes back and is topped up, so that its steps stay as they are
)

// A Wear is what a bath has been through.
type Wear struct {
	AreaMM2      int64
	Runs         int64
	VolumeLeftML int64
	ExpiresAt    time.Time
	DiscardedAt  *time.Time
	// Quarantined says that the steward keeps it from use.
	Quarantined bool
}

// A BathState is whether a bath is good.
type BathState string

// The states of a bath. What is discarded is nothing else; what has expired is
// not called exhausted, and what is either is not called quarantined.
const (
	Good        BathState = "good"
	Quarantined BathState = "quarantined"
	Exhausted   BathState = "exhausted"
	Expired     BathState = "expired"
	Discarded   BathState = "discarded"
)

// A Limit is what ends a bath.
type Limit string

// The limits, in the order in which ties between them are told.
const (
	LimitArea   Limit = "area"
	LimitRuns   Limit = "runs"
	LimitVolume Limit = "volume"
	LimitLife   Limit = "life"
)

// A BathLeft is what is left of a bath.
type BathLeft struct {
	AreaMM2  *int64
	Runs     *int64
	VolumeML int64
	State    BathState
	// BindsFirst is the limit of which the smallest part is left: what has
	// ended the bath, or is nearest to. A discarded bath has none.
	BindsFirst Limit
}

// Capacity is the film area that the bath carries in all: the area given or
// where its table of corrections ends, whichever comes first; false if
// neither is given.
func (d BathDefinition) Capacity() (mm2 int64, ok bool) {
	if d.AreaMM2 != nil {
		mm2, ok = *d.AreaMM2, true
	}
	if end, has := d.table().End(); has {
		// Below the next mm² per litre's half-way mark the table still answers for this one.
		if byTable := end * d.VolumeML / 1000; !ok || byTable < mm2 {
			mm2, ok = byTable, true
		}
	}
	return mm2, ok
}

// table is what corrects the step: the kit's table, or its rate as one.
func (d BathDefinition) table() Correction {
	if d.CorrectionRate != nil {
		return d.CorrectionRate.table()
	}
	return d.Correction
}

// UsedPerL is the film area that each litre has seen.
func (d BathDefinition) UsedPerL(usedMM2 int64) int64 { return divHalfUp(usedMM2*1000, d.VolumeML) }

// Factor corrects the bath's step once it has seen usedMM2; false if the bath
// corrects nothing. It fails with a Fault past the end of its table.
func (d BathDefinition) Factor(usedMM2 int64) (f Factor, ok bool, err error) {
	table := d.table()
	if len(table) == 0 {
		return Factor{}, false, nil
	}
	permille, err := table.Permille(d.UsedPerL(usedMM2))
	if err != nil {
		return Factor{}, false, err
	}
	return d.factor(permille), true, nil
}

// worstFactor is the greatest factor that a run in the bath can begin at.
func (d BathDefinition) worstFactor() (f Factor, ok bool) {
	capacity, ok := d.Capacity()
	table := d.table()
	if !ok || len(table) == 0 {
		return Factor{}, false
	}
	permille, err := table.Permille(d.UsedPerL(capacity))
	if err != nil {
		permille = table[len(table)-1].Permille
	}
	return d.factor(permille), true
}

func (d BathDefinition) factor(permille int64) Factor {
	source := d.Source
	if source == "" && d.CorrectionRate != nil {
		source = "the kit's rate of correction"
	}
	if source == "" {
		source = "the kit's table of corrections"
	}
	return Factor{Name: "use of the bath", Permille: permille, Source: source}
}

// Left is what is left of a bath at now.
func (d BathDefinition) Left(w Wear, now time.Time) BathLeft {
	left := BathLeft{VolumeML: w.VolumeLeftML, State: Good}
	parts := []part{}
	if capacity, ok := d.Capacity(); ok {
		rest := max(capacity-w.AreaMM2, 0)
		left.AreaMM2 = &rest
		parts = append(parts, part{LimitArea, rest, capacity})
	}
	if d.Runs != nil {
		rest := max(*d.Runs-w.Runs, 0)
		left.Runs = &rest
		parts = append(parts, part{LimitRuns, rest, *d.Runs})
	}
	if d.Use == OneShot {
		parts = append(parts, part{LimitVolume, w.VolumeLeftML, d.VolumeML})
	}
	for _, p := range parts {
		if p.rest == 0 {
			left.State = Exhausted
		}
	}
	life := part{LimitLife, max(int64(w.ExpiresAt.Sub(now)/time.Second), 0), int64(d.Life)}
	left.BindsFirst = least(append(parts, life))
	switch {
	case w.DiscardedAt != nil:
		left.State, left.BindsFirst = Discarded, ""
	case now.After(w.ExpiresAt):
		left.State, left.BindsFirst = Expired, LimitLife
	case w.Quarantined && left.State == Good:
		left.State = Quarantined
	}
	return left
}

// A part is what is left of a limit.
type part struct {
	limit Limit
	rest  int64
	whole int64
}

// least is the limit with the smallest part left, the first of those that tie.
func least(parts []part) Limit {
	var limit Limit
	smallest := int64(1) << 62
	for _, p := range parts {
		// Parts per million keep the product within 64 bits for all that a definition may hold.
		if ppm := p.rest * 1_000_000 / max(p.whole, 1); ppm < smallest {
			limit, smallest = p.limit, ppm
		}
	}
	return limit
}
