package api

import (
	"errors"
	"time"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"wetside/lab/units"
)

// formats are the contract's text formats, as the program reads them.
var formats = []*jsonschema.Format{
	{Name: "date-time", Validate: text(func(s string) error {
		t, err := time.Parse(time.RFC3339, s)
		if err != nil {
			return errors.New("want an instant with its offset, such as 2026-11-30T18:00:00Z")
		}
		// The contract's pattern sees the year as written; it is answered in UTC.
		if year := t.UTC().Year(); year < 2000 || year > 2100 {
			return errors.New("want an instant of the years 2000 to 2100 in UTC")
		}
		return nil
	})},
	{Name: "date", Validate: text(func(s string) error {
		if _, err := time.Parse(time.DateOnly, s); err != nil {
			return errors.New("want a date, such as 2026-11-30")
		}
		return nil
	})},
	{Name: "duration", Validate: text(func(s string) error {
		_, err := units.ParseDuration(s)
		return err
	})},
	{Name: "temperature", Validate: text(func(s string) error {
		_, err := units.ParseTemperature(s)
		return err
	})},
}

// text makes a format's check of a check of texts; other types are not its business.
func text(check func(string) error) func(any) error {
	return func(v any) error {
		if s, ok := v.(string); ok {
			return check(s)
		}
		return nil
	}
}
