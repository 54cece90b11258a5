package chemistry

import (
	"strings"
	"time"

	"wetside/lab/units"
)

// A Storage is how a bath stands between runs. Without one a bath lasts as
// long as its kit says, which kits say of full and tightly closed bottles.
type Storage struct {
	// FullPermille is how full the bottle is.
	FullPermille int64 `json:"full_permille"`
	Seal         Seal  `json:"seal"`
}

// A Seal is how a bottle is closed.
type Seal string

// The seals.
const (
	Airtight  Seal = "airtight"  // closed over what air is in it
	Displaced Seal = "displaced" // its air squeezed out, or displaced by beads or gas
	Loose     Seal = "loose"     // a floating lid, or a cap that lets air in
)

// Oxidises says whether air shortens the life of a role's baths: developers',
// not that of iron bleaches, which want air (US Army SS0514, p. 2-15), nor of
// fixers, which outlast developers; common practice.
func Oxidises(role string) bool {
	return role == "developer" || strings.HasSuffix(role, "-developer")
}

// StorageSource is where LifePermille comes from.
const StorageSource = "full, squeezed or bead-topped bottles about double a developer's life against half-full ones: common practice; loosely closed, half of that: from memory"

// LifePermille is the part of a role's life, in thousandths, that it lasts as
// stored: all of it in a full bottle or without air, half of it in one half
// full or emptier, in a straight line between, and half of that again where
// air gets in.
func (s Storage) LifePermille(role string) int64 {
	if !Oxidises(role) {
		return 1000
	}
	full := min(max(s.FullPermille, 500), 1000)
	switch s.Seal {
	case Displaced:
		return 1000
	case Loose:
		return full / 2
	default:
		return full
	}
}

// StoredLife is the bath's life from mixing on, stored so; nil is as the kit says.
func (d BathDefinition) StoredLife(s *Storage) units.Duration {
	if s == nil {
		return d.Life
	}
	return units.Duration(divHalfUp(int64(d.Life)*s.LifePermille(d.Role), 1000))
}

// Restored is when a bath that would expire at expires does so once it is
// stored as to from now on: what is left of its life goes at the new pace.
func (d BathDefinition) Restored(expires, now time.Time, from, to *Storage) time.Time {
	left := int64(expires.Sub(now) / time.Second)
	if left <= 0 {
		return expires
	}
	was, is := int64(1000), int64(1000)
	if from != nil {
		was = from.LifePermille(d.Role)
	}
	if to != nil {
		is = to.LifePermille(d.Role)
	}
	if was == is {
		return expires
	}
	return now.Add(time.Duration(left*is/was) * time.Second)
}

// Validate says what is wrong with a storage.
func (s Storage) Validate() []Fault {
	var fs faults
	fs.between("/full_permille", s.FullPermille, 1, 1000)
	if s.Seal != Airtight && s.Seal != Displaced && s.Seal != Loose {
		fs.add("/seal", "unknown", "want airtight, displaced or loose, not %q", s.Seal)
	}
	return fs
}
