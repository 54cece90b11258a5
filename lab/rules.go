package lab

import (
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/currency"

	"wetside/lab/units"
)

// maxName is how many characters a name may have.
const maxName = 200

// checkName notes a fault at pointer unless name can be told by people:
// something to see, on one line, of 200 characters at most.
func checkName(r *Refusal, pointer, name string) {
	switch {
	case !strings.ContainsFunc(name, visible):
		r.With(pointer, "blank", "a name may not be blank")
	case utf8.RuneCountInString(name) > maxName:
		r.With(pointer, "length", "a name may have %d characters at most", maxName)
	case strings.ContainsFunc(name, breaksLine):
		r.With(pointer, "control-character", "a name stands on one line")
	}
}

func breaksLine(r rune) bool { return unicode.In(r, unicode.Cc, unicode.Zl, unicode.Zp) }

// visible says whether a character leaves a mark: neither a blank nor one that
// only steers how others are written.
func visible(r rune) bool { return unicode.IsGraphic(r) && !unicode.IsSpace(r) }

// noZones load as time zones but name none: some mean another one on every
// machine, and Factory that nobody has chosen yet.
var noZones = []string{"", "Local", "localtime", "posixrules", "Factory"}

// checkZone refuses all but IANA names of time zones. The databases posix/ and
// right/ are copies of the zones, the second with leap seconds in its clock.
func checkZone(name string) error {
	_, err := time.LoadLocation(name)
	if err != nil || slices.Contains(noZones, name) || strings.HasPrefix(name, "posix/") || strings.HasPrefix(name, "right/") {
		return Refuse(Invalid, "no-such-time-zone", "there is no such time zone").
			With("/time_zone", "no-such-time-zone", "want an IANA name, such as Europe/Lisbon")
	}
	return nil
}

// checkCurrency notes a fault unless code is an ISO 4217 code of money that
// people pay with; XXX and XTS stand for none and for tests.
func checkCurrency(r *Refusal, code string) {
	unit, err := currency.ParseISO(code)
	if err != nil || unit.String() != code || code == "XXX" || code == "XTS" {
		r.With("/currency", "no-such-currency", "want an ISO 4217 code, such as EUR")
	}
}

// checkSettings notes what is wrong with how a lab reckons.
func checkSettings(r *Refusal, l Lab) {
	checkName(r, "/name", l.Name)
	if l.AreaRule != TradeArea && l.AreaRule != GeometricArea {
		r.With("/area_rule", "not-one-of", "want trade or geometric")
	}
	if l.DevelopingTolerancePermille < 0 || l.DevelopingTolerancePermille > 500 {
		r.With("/developing_tolerance_permille", "out-of-range", "want 0 to 500")
	}
	if l.HeaterEfficiencyPermille < 1 || l.HeaterEfficiencyPermille > 1000 {
		r.With("/heater_efficiency_permille", "out-of-range", "want 1 to 1000")
	}
	if l.RoomTemperature < 5*units.DegreeCelsius || l.RoomTemperature > 45*units.DegreeCelsius {
		r.With("/room_temperature", "out-of-range", "want 5 °C to 45 °C")
	}
}

// cleanRoles is the roles in order, each once, member always among them.
func cleanRoles(given []Role) []Role {
	var clean []Role
	for _, r := range []Role{RoleMember, RoleSteward, RoleTreasurer, RoleKeeper} {
		if r == RoleMember || slices.Contains(given, r) {
			clean = append(clean, r)
		}
	}
	return clean
}

// mayAct says whether a member may give others these roles, or a way to sign
// in as somebody who holds them: a keeper any, others what they hold
// themselves. Otherwise a steward could become keeper by a detour.
func mayAct(by Member, roles []Role) bool {
	if by.Has(RoleKeeper) {
		return true
	}
	for _, r := range roles {
		if r != RoleMember && !by.Has(r) {
			return false
		}
	}
	return true
}
