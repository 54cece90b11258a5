package api

import (
	"regexp"
	"strconv"
	"strings"

	"wetside/lab"
)

// otherDegrees is a temperature in another unit than Celsius.
var otherDegrees = regexp.MustCompile(`^\s*[-+]?\d+([.,]\d+)?\s*(°\s*[FKRfkr]|[FKfk]|[Ff]ahrenheit|[Kk]elvin)\s*$`)

const inCelsius = "want degrees Celsius with their unit, such as 37.8 °C; nothing is converted"

// notCelsius gives each fault that is a temperature in another unit a code of
// its own, and says whether there is one.
func notCelsius(value any, faults []lab.Fault) bool {
	found := false
	for i, f := range faults {
		if text, ok := at(value, f.Pointer).(string); ok && otherDegrees.MatchString(text) {
			faults[i].Code, faults[i].Detail = "temperature-not-celsius", inCelsius
			found = true
		}
	}
	return found
}

// at is what stands at a JSON Pointer in a decoded value; nil if nothing does.
func at(value any, pointer string) any {
	if pointer == "" {
		return value
	}
	for _, token := range strings.Split(pointer, "/")[1:] {
		token = strings.NewReplacer("~1", "/", "~0", "~").Replace(token)
		switch v := value.(type) {
		case map[string]any:
			value = v[token]
		case []any:
			n, err := strconv.Atoi(token)
			if err != nil || n < 0 || n >= len(v) {
				return nil
			}
			value = v[n]
		default:
			return nil
		}
	}
	return value
}
