// Package units holds the value types that every other package of Wetside
// shares: whole-second durations written as ISO 8601. It imports nothing of
// the project, so the pure packages (planner, the rules of chemistry) may use it.
package units

import (
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"
)

// Duration is a span of whole seconds, written in JSON as an ISO 8601
// duration of days, hours, minutes and seconds ("PT1H30M"); a day is 24 hours.
type Duration int64

// The spans that durations are written in.
const (
	Second Duration = 1
	Minute          = 60 * Second
	Hour            = 60 * Minute
	Day             = 24 * Hour
)

// maxDuration bounds what ParseDuration takes: a hundred years, so that sums
// of a few thousand spans cannot overflow.
const maxDuration = 100 * 366 * Day

// ErrDuration says that a text is not a duration that Wetside takes.
var ErrDuration = errors.New("want an ISO 8601 duration of days, hours, minutes and whole seconds, such as PT1H30M")

// ParseDuration reads an ISO 8601 duration of D, H, M and S in that order,
// each at most once and whole. Years, months, weeks, fractions and signs are
// refused with ErrDuration: their length is not a fixed number of seconds, or
// no step of a process is measured in them.
func ParseDuration(s string) (Duration, error) {
	rest, ok := strings.CutPrefix(s, "P")
	if !ok || rest == "" || strings.HasSuffix(rest, "T") {
		return 0, ErrDuration
	}
	units := []struct {
		letter byte
		span   Duration
	}{{'D', Day}, {'T', 0}, {'H', Hour}, {'M', Minute}, {'S', Second}}
	var total Duration
	inTime := false
	for next := 0; rest != ""; {
		if rest[0] == 'T' {
			if inTime {
				return 0, ErrDuration
			}
			inTime, next, rest = true, 2, rest[1:]
			continue
		}
		digits := 0
		for digits < len(rest) && rest[digits] >= '0' && rest[digits] <= '9' {
			digits++
		}
		if digits == 0 || digits > 10 || digits == len(rest) {
			return 0, ErrDuration
		}
		n, err := strconv.ParseInt(rest[:digits], 10, 64)
		if err != nil {
			return 0, ErrDuration
		}
		for next < len(units) && (units[next].letter != rest[digits] || units[next].span == 0) {
			next++
		}
		if next == len(units) || (units[next].letter != 'D') != inTime {
			return 0, ErrDuration
		}
		if n > int64(maxDuration/units[next].span) {
			return 0, ErrDuration
		}
		total += Duration(n) * units[next].span
		next++
		rest = rest[digits+1:]
	}
	if total > maxDuration {
		return 0, ErrDuration
	}
	return total, nil
}

// FromStd rounds a standard duration up to whole seconds.
func FromStd(d time.Duration) Duration {
	return Duration((d + time.Second - 1) / time.Second)
}

// Std is d as a standard duration.
func (d Duration) Std() time.Duration { return time.Duration(d) * time.Second }

// String writes d as ISO 8601, in hours, minutes and seconds: "PT0S",
// "PT1H30M", "PT49H". A negative span, which no valid answer holds, is written
// with a leading minus.
func (d Duration) String() string {
	if d == 0 {
		return "PT0S"
	}
	var b strings.Builder
	if d < 0 {
		b.WriteByte('-')
		d = -d
	}
	b.WriteString("PT")
	if h := d / Hour; h > 0 {
		fmt.Fprintf(&b, "%dH", h)
	}
	if m := d % Hour / Minute; m > 0 {
		fmt.Fprintf(&b, "%dM", m)
	}
	if s := d % Minute; s > 0 {
		fmt.Fprintf(&b, "%dS", s)
	}
	return b.String()
}

// Words writes d for people: "1 h 5 min", "3 min 15 s", "0 s".
func (d Duration) Words() string {
	var parts []string
	for _, u := range []struct {
		n    Duration
		name string
	}{{d / Hour, "h"}, {d % Hour / Minute, "min"}, {d % Minute, "s"}} {
		if u.n != 0 {
			parts = append(parts, fmt.Sprintf("%d %s", u.n, u.name))
		}
	}
	if len(parts) == 0 {
		return "0 s"
	}
	return strings.Join(parts, " ")
}

// MarshalJSON writes d as a JSON string in ISO 8601.
func (d Duration) MarshalJSON() ([]byte, error) { return json.Marshal(d.String()) }

// UnmarshalJSON reads what MarshalJSON writes, and days. It fails with
// ErrDuration.
func (d *Duration) UnmarshalJSON(b []byte) error {
	var s string
	if err := json.Unmarshal(b, &s); err != nil {
		return ErrDuration
	}
	v, err := ParseDuration(s)
	if err != nil {
		return err
	}
	*d = v
	return nil
}
