package chemistry

import (
	"math/big"
	"slices"
	"time"

	"wetside/lab/units"
)

// A Demand is a run to come that would use a bath.
type Demand struct {
	At time.Time
	Load
}

// An Outlook is what becomes of a bath at the pace at which it is booked.
type Outlook struct {
	// BookedRuns and BookedAreaMM2 are of the runs to come that it carries.
	BookedRuns    int64 `json:"booked_runs"`
	BookedAreaMM2 int64 `json:"booked_area_mm2"`
	// PaceMM2PerWeek is the booked film over the time until the last booked
	// run, a week at least.
	PaceMM2PerWeek int64 `json:"pace_mm2_per_week"`
	// BindsFirst ends it at DiesAt.
	BindsFirst Limit     `json:"binds_first"`
	DiesAt     time.Time `json:"dies_at"`
	// Margin is what it has left of the other limits when it dies.
	Margin Margin `json:"margin"`
	Basis  string `json:"basis"`
}

// A Margin is what is left of a bath's limits at an instant; a limit that it
// does not have is left out.
type Margin struct {
	AreaMM2 *int64         `json:"area_mm2,omitempty"`
	Runs    *int64         `json:"runs,omitempty"`
	Life    units.Duration `json:"life"`
}

// outlookBasis says what an Outlook rests on.
const outlookBasis = "planned batches of this bath set, and booked film of its process that no batch has yet; after the last of them the same pace goes on"

// leastSpan is the least time that a pace is reckoned over.
const leastSpan = 7 * 24 * time.Hour

// Outlook foresees a bath: the runs that are booked one after another, until
// one is more than is left or comes too late; after the last, their mean pace
// until a limit is met. A bath that nobody books dies of age.
func (d BathDefinition) Outlook(w Wear, demands []Demand, now time.Time) Outlook {
	o := Outlook{Basis: outlookBasis}
	demands = slices.Clone(demands)
	slices.SortStableFunc(demands, func(a, b Demand) int { return a.At.Compare(b.At) })
	if left := d.Left(w, now); left.State != Good {
		o.BindsFirst, o.DiesAt = left.BindsFirst, now
		if left.State == Expired {
			o.DiesAt = w.ExpiresAt
		}
		o.Margin = d.margin(w, o.DiesAt)
		return o
	}
	before, last := w, now
	for _, run := range demands {
		if run.At.After(w.ExpiresAt) {
			break
		}
		if limit := d.ends(w, run.Load); limit != "" {
			o.BindsFirst, o.DiesAt = limit, later(run.At, now)
			break
		}
		w, last = d.After(w, run.Load), later(run.At, last)
		o.BookedRuns++
		o.BookedAreaMM2 += run.AreaMM2
	}
	span := max(last.Sub(now), leastSpan)
	o.PaceMM2PerWeek = scaled(o.BookedAreaMM2, int64(leastSpan/time.Second), int64(span/time.Second))
	if o.BindsFirst == "" {
		o.BindsFirst, o.DiesAt, w = d.goOn(before, w, last, span)
	}
	o.Margin = d.margin(w, o.DiesAt)
	return o
}

// ends is the limit that a run is more than is left of, "" if none: a run that
// is only too big at once can be split.
func (d BathDefinition) ends(w Wear, l Load) Limit {
	for _, f := range d.Carries(w, l) {
		switch {
		case f.Code == "area-left":
			return LimitArea
		case f.Code == "runs-left":
			return LimitRuns
		case f.Code == "volume-left" && d.Use == OneShot:
			return LimitVolume
		}
	}
	return ""
}

// goOn lets the pace from before to w, over span, go on from an instant until
// a limit is met.
func (d BathDefinition) goOn(before, w Wear, from time.Time, span time.Duration) (Limit, time.Time, Wear) {
	seconds := int64(span / time.Second)
	limit, at := LimitLife, later(w.ExpiresAt, from)
	meet := func(l Limit, left, used int64) {
		if used <= 0 {
			return
		}
		after := scaled(max(left, 0), seconds, used)
		if after > int64(at.Sub(from)/time.Second) {
			return
		}
		if t := from.Add(time.Duration(after) * time.Second); t.Before(at) {
			limit, at = l, t
		}
	}
	if capacity, ok := d.Capacity(); ok {
		meet(LimitArea, capacity-w.AreaMM2, w.AreaMM2-before.AreaMM2)
	}
	if d.Runs != nil {
		meet(LimitRuns, *d.Runs-w.Runs, w.Runs-before.Runs)
	}
	if d.Use == OneShot {
		meet(LimitVolume, w.VolumeLeftML, before.VolumeLeftML-w.VolumeLeftML)
	}
	gone := int64(at.Sub(from) / time.Second)
	w.AreaMM2 += scaled(w.AreaMM2-before.AreaMM2, gone, seconds)
	w.Runs += scaled(w.Runs-before.Runs, gone, seconds)
	return limit, at, w
}

func (d BathDefinition) margin(w Wear, at time.Time) Margin {
	m := Margin{Life: units.Duration(max(w.ExpiresAt.Sub(at)/time.Second, 0))}
	if capacity, ok := d.Capacity(); ok {
		left := max(capacity-w.AreaMM2, 0)
		m.AreaMM2 = &left
	}
	if d.Runs != nil {
		left := max(*d.Runs-w.Runs, 0)
		m.Runs = &left
	}
	return m
}

func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

// scaled is a × b ÷ c, floored, for values of any size ≥ 0 and c > 0; beyond
// 64 bits it is the greatest.
func scaled(a, b, c int64) int64 {
	n := new(big.Int).Mul(big.NewInt(a), big.NewInt(b))
	if n.Quo(n, big.NewInt(c)); !n.IsInt64() {
		return 1<<63 - 1
	}
	return n.Int64()
}

// Reaches is when the demands have put mm2 of film through a bath, or their
// pace will have; nil if there are none.
func Reaches(demands []Demand, now time.Time, mm2 int64) *time.Time {
	demands = slices.Clone(demands)
	slices.SortStableFunc(demands, func(a, b Demand) int { return a.At.Compare(b.At) })
	sum, last := int64(0), now
	for _, run := range demands {
		sum, last = sum+run.AreaMM2, later(run.At, now)
		if sum >= mm2 {
			return &last
		}
	}
	if sum == 0 {
		return nil
	}
	after := scaled(mm2-sum, int64(max(last.Sub(now), leastSpan)/time.Second), sum)
	if after > int64(100*366*24*time.Hour/time.Second) {
		return nil
	}
	last = last.Add(time.Duration(after) * time.Second)
	return &last
}
