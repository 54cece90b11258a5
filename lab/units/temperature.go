package units

import (
	"encoding/json"
	"errors"
	"regexp"
	"strconv"
	"strings"
)

// Temperature is in thousandths of a degree Celsius, which holds the ±0.15 °C
// that colour developers are given; in JSON it is text with its unit,
// "37.8 °C", so that nobody sends Fahrenheit unawares.
type Temperature int64

// DegreeCelsius is one degree.
const DegreeCelsius Temperature = 1000

// ErrTemperature says that a text is not a temperature that Wetside takes.
var ErrTemperature = errors.New("want a temperature in degrees Celsius with its unit, such as 37.8 °C")

var temperatureText = regexp.MustCompile(`^(-?)(\d{1,3})(?:\.(\d{1,3}))? ?°C$`)

// ParseTemperature reads "38 °C" or "37.85 °C", to three decimals. It fails
// with ErrTemperature, on other units too.
func ParseTemperature(s string) (Temperature, error) {
	m := temperatureText.FindStringSubmatch(s)
	if m == nil {
		return 0, ErrTemperature
	}
	v, err := strconv.ParseInt(m[2]+(m[3] + "000")[:3], 10, 64)
	if err != nil {
		return 0, ErrTemperature
	}
	if m[1] == "-" {
		v = -v
	}
	return Temperature(v), nil
}

// String writes t with as few decimals as it needs: "38 °C", "37.85 °C".
func (t Temperature) String() string {
	sign := ""
	if t < 0 {
		sign, t = "-", -t
	}
	s := strconv.FormatInt(int64(t/1000), 10)
	if frac := t % 1000; frac != 0 {
		s += "." + strings.TrimRight(strconv.FormatInt(int64(1000+frac), 10)[1:], "0")
	}
	return sign + s + " °C"
}

// MarshalJSON writes t as text with its unit.
func (t Temperature) MarshalJSON() ([]byte, error) { return json.Marshal(t.String()) }

// UnmarshalJSON reads what MarshalJSON writes. It fails with ErrTemperature.
func (t *Temperature) UnmarshalJSON(b []byte) error {
	var s string
	if err := json.Unmarshal(b, &s); err != nil {
		return ErrTemperature
	}
	v, err := ParseTemperature(s)
	if err != nil {
		return err
	}
	*t = v
	return nil
}
