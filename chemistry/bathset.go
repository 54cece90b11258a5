package chemistry

import "time"

// A BathSet is the baths mixed from one portion of a kit; they go through one
// run together.
type BathSet struct {
	ID      string    `json:"id"`
	Kit     string    `json:"kit"`
	Process string    `json:"process"`
	MixedAt time.Time `json:"mixed_at"`
	MixedBy string    `json:"mixed_by"`
	Baths   []Bath    `json:"baths"`
}

// A Bath is one mixed solution as it stands at the instant it was read for.
type Bath struct {
	ID      string `json:"id"`
	BathSet string `json:"bath_set"`
	// What it was mixed as: role, use, volume_ml, area_mm2 and so on.
	BathDefinition
	VolumeLeftML int64     `json:"volume_left_ml"`
	UsedAreaMM2  int64     `json:"used_area_mm2"`
	UsedRuns     int64     `json:"used_runs"`
	AreaLeftMM2  *int64    `json:"area_left_mm2,omitempty"`
	RunsLeft     *int64    `json:"runs_left,omitempty"`
	ExpiresAt    time.Time `json:"expires_at"`
	State        BathState `json:"state"`
	BindsFirst   Limit     `json:"binds_first,omitempty"`
	// Storage is how it is bottled; absent where as the kit's life takes it.
	Storage *Storage `json:"storage,omitempty"`
	// ToppedUpML is the replenisher it has had, ReplenisherDueML what it is owed
	// for the film it has seen.
	ToppedUpML       int64 `json:"topped_up_ml"`
	ReplenisherDueML int64 `json:"replenisher_due_ml"`
	// Quarantine keeps it from use.
	Quarantine *Quarantine `json:"quarantine,omitempty"`
	// AreaRule says which area its figures count: trade or geometric.
	AreaRule    string     `json:"area_rule"`
	Cautions    []string   `json:"cautions"`
	DiscardedAt *time.Time `json:"discarded_at,omitempty"`
	DiscardedTo string     `json:"discarded_to,omitempty"`
	Version     int64      `json:"-"`
}

// A Quarantine keeps a bath from plans, bookings and runs until the steward
// lifts it.
type Quarantine struct {
	Because string    `json:"because"`
	By      string    `json:"by"`
	At      time.Time `json:"at"`
}

// Revision counts the changes of the record.
func (b Bath) Revision() int64 { return b.Version }

// Wear is what the bath has been through.
func (b Bath) Wear() Wear {
	return Wear{AreaMM2: b.UsedAreaMM2, Runs: b.UsedRuns, VolumeLeftML: b.VolumeLeftML,
		ExpiresAt: b.ExpiresAt, DiscardedAt: b.DiscardedAt, Quarantined: b.Quarantine != nil}
}

// at works out how the bath stands at now.
func (b Bath) at(now time.Time) Bath {
	left := b.Left(b.Wear(), now)
	b.AreaLeftMM2, b.RunsLeft, b.State, b.BindsFirst = left.AreaMM2, left.Runs, left.State, left.BindsFirst
	b.ReplenisherDueML = max(b.Replenisher(Load{AreaMM2: b.UsedAreaMM2})-b.ToppedUpML, 0)
	b.Cautions = BathCautions(b.Role)
	return b
}

// Factors correct a run's steps, by role, for what the baths have seen. It
// fails with a Fault if one is past the end of its table.
func (s BathSet) Factors() (map[string]Factor, error) {
	out := map[string]Factor{}
	for _, b := range s.Baths {
		f, ok, err := b.Factor(b.UsedAreaMM2)
		if err != nil {
			return nil, fault("", "correction-ends", "bath %s (%s): %s", b.ID, b.Role, err.(Fault).Detail)
		}
		if ok {
			out[b.Role] = f
		}
	}
	return out, nil
}
