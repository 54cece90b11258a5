package chemistry

import (
	"time"

	"wetside/lab/units"
)

// A Kit is chemistry as bought.
type Kit struct {
	ID      string      `json:"id"`
	Name    string      `json:"name"`
	Process string      `json:"process"`
	Price   units.Money `json:"price"`
	// BoughtBy is a member; "" is the co-op's fund.
	BoughtBy string `json:"bought_by,omitempty"`
	// BoughtOn is a date of the lab's calendar, 2006-01-02.
	BoughtOn string `json:"bought_on"`
	// Portions is how many bath sets it makes, PortionsLeft how many yet.
	Portions     int64 `json:"portions"`
	PortionsLeft int64 `json:"portions_left"`
	// Mix is how long it takes to mix a portion.
	Mix units.Duration `json:"mix"`
	// UnopenedUntil ends its shelf life, OpenedLife that of what is left from
	// the first portion mixed on; see UsableUntil.
	UnopenedUntil time.Time      `json:"unopened_until"`
	OpenedLife    units.Duration `json:"opened_life"`
	OpenedAt      *time.Time     `json:"opened_at,omitempty"`
	// RatedAreaMM2 is the film that one portion is sold for.
	RatedAreaMM2 int64 `json:"rated_area_mm2"`
	// Baths are what one portion makes.
	Baths         []BathDefinition `json:"baths"`
	ShareRule     ShareRule        `json:"share_rule"`
	UnusedFallsOn UnusedFallsOn    `json:"unused_falls_on"`
	// Subscribers are members who share it.
	Subscribers   []string      `json:"subscribers"`
	ClosedAt      *time.Time    `json:"closed_at,omitempty"`
	ClosedBecause ClosedBecause `json:"closed_because,omitempty"`
	CreatedAt     time.Time     `json:"created_at"`
	Version       int64         `json:"-"`
}

// Revision counts the changes of the record.
func (k Kit) Revision() int64 { return k.Version }

// A ShareRule is how a kit's price is shared among those who used it.
type ShareRule string

// The share rules.
const (
	ByArea  ShareRule = "by_area"
	ByRoll  ShareRule = "by_roll"
	Equally ShareRule = "equally" // among the subscribers
	// Weighted is among the subscribers in the measure of the shares they took.
	Weighted ShareRule = "weighted"
)

// UnusedFallsOn is who bears what expires unused.
type UnusedFallsOn string

// Who may bear it.
const (
	OnUsers       UnusedFallsOn = "users"
	OnSubscribers UnusedFallsOn = "subscribers"
	OnFund        UnusedFallsOn = "fund"
)

// ClosedBecause is why a kit was closed.
type ClosedBecause string

// Why a kit may be closed.
const (
	UsedUp     ClosedBecause = "used_up"
	KitExpired ClosedBecause = "expired"
	ThrownAway ClosedBecause = "thrown_away"
)

// Known says whether b is one of the reasons.
func (b ClosedBecause) Known() bool { return b == UsedUp || b == KitExpired || b == ThrownAway }

// UsableUntil is the last instant at which a portion may be mixed: the end of
// the shelf life or, once opened, of the opened life if that comes first.
// Opening never makes a kit last longer.
func (k Kit) UsableUntil() time.Time {
	if k.OpenedAt != nil {
		if end := k.OpenedAt.Add(k.OpenedLife.Std()); end.Before(k.UnopenedUntil) {
			return end
		}
	}
	return k.UnopenedUntil
}

// Mixable says why a portion cannot be mixed at an instant; nil if it can. It
// fails with a Fault: kit-closed, kit-spent or kit-expired.
func (k Kit) Mixable(at time.Time) error {
	switch until := k.UsableUntil(); {
	case k.ClosedAt != nil:
		return fault("", "kit-closed", "%s is closed", k.Name)
	case k.PortionsLeft == 0:
		return fault("", "kit-spent", "all %d portions of %s are mixed", k.Portions, k.Name)
	case at.After(until):
		return fault("", "kit-expired", "%s could be mixed until %s", k.Name, until.UTC().Format(time.RFC3339))
	}
	return nil
}

// A NewKit is a kit as the treasurer enters it.
type NewKit struct {
	Name          string           `json:"name"`
	Process       string           `json:"process"`
	Price         units.Money      `json:"price"`
	BoughtBy      string           `json:"bought_by"`
	BoughtOn      string           `json:"bought_on"`
	Portions      int64            `json:"portions"`
	Mix           units.Duration   `json:"mix"`
	UnopenedUntil time.Time        `json:"unopened_until"`
	OpenedLife    units.Duration   `json:"opened_life"`
	RatedAreaMM2  int64            `json:"rated_area_mm2"`
	Baths         []BathDefinition `json:"baths"`
	ShareRule     ShareRule        `json:"share_rule"`
	UnusedFallsOn UnusedFallsOn    `json:"unused_falls_on"`
	Subscribers   []string         `json:"subscribers"`
	// SubscribersFollow says that members may yet subscribe, so that there need be none now.
	SubscribersFollow bool `json:"-"`
}
