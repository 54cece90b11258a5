// Package lab holds what everything else belongs to: the lab itself, its
// members and their roles, its equipment, and the refusals that every other
// package answers with. It imports nothing of the project but its units.
package lab

import (
	"slices"
	"sync"
	"time"

	"wetside/lab/units"
)

// A Lab is one co-op's lab. Its id leads every key of what belongs to it.
type Lab struct {
	ID   string `json:"id"`
	Name string `json:"name"`
	// TimeZone is an IANA name; opening patterns are in its wall-clock time.
	TimeZone string `json:"time_zone"`
	// Currency is an ISO 4217 code; all the lab's money is in it.
	Currency string `json:"currency"`
	// AreaRule is which area capacities and charges count.
	AreaRule AreaRule `json:"area_rule"`
	// DevelopingTolerancePermille is how far developing times of black-and-white
	// rolls may differ within a batch.
	DevelopingTolerancePermille int64 `json:"developing_tolerance_permille"`
	// RoomTemperature is where warm-up begins.
	RoomTemperature units.Temperature `json:"room_temperature"`
	// HeaterEfficiencyPermille is the part of a heater's power that reaches the solution.
	HeaterEfficiencyPermille int64     `json:"heater_efficiency_permille"`
	CreatedAt                time.Time `json:"created_at"`
	// Version counts changes of this record; ScheduleVersion those of anything planning depends on.
	Version         int64 `json:"-"`
	ScheduleVersion int64 `json:"schedule_version"`
}

// An AreaRule says which area of a film counts.
type AreaRule string

// The area rules.
const (
	TradeArea     AreaRule = "trade"     // the usual trade rule, which kits' rated capacities count
	GeometricArea AreaRule = "geometric" // width × length
)

// Location is the lab's time zone; a lab is stored only with one that loads.
func (l Lab) Location() *time.Location {
	if loc, ok := zones.Load(l.TimeZone); ok {
		return loc.(*time.Location)
	}
	loc, err := time.LoadLocation(l.TimeZone)
	if err != nil {
		return time.UTC
	}
	zones.Store(l.TimeZone, loc)
	return loc
}

// zones are time zones once read, by name: each is a file.
var zones sync.Map

// A Role is what a member may do beyond being one.
type Role string

// The roles. A member may hold several; a keeper looks after the lab's own
// settings and members.
const (
	RoleMember    Role = "member"
	RoleSteward   Role = "steward"
	RoleTreasurer Role = "treasurer"
	RoleKeeper    Role = "keeper"
)

// A Member is a person in one lab.
type Member struct {
	ID       string     `json:"id"`
	Name     string     `json:"name"`
	Roles    []Role     `json:"roles"`
	JoinedAt time.Time  `json:"joined_at"`
	LeftAt   *time.Time `json:"left_at,omitempty"`
	// Email is in lower case, and no other member of the lab has it.
	Email *string `json:"email,omitempty"`
	// GuestOf is, of a guest, the member who answers for them: a guest is in the
	// books, is no member, and never signs in.
	GuestOf *string `json:"guest_of,omitempty"`
	Version int64   `json:"-"`
}

// Has says whether the member holds any of the roles.
func (m Member) Has(roles ...Role) bool {
	for _, r := range roles {
		if slices.Contains(m.Roles, r) {
			return true
		}
	}
	return false
}

// A Scope is what a request acts in: one lab, on behalf of one of its members,
// at one instant (UTC, whole microseconds), the same for all it writes.
type Scope struct {
	Lab Lab
	By  Member
	Now time.Time
}
