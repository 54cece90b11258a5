package demo

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"wetside/lab/units"
)

// pushed is a push or pull in words; "" is none.
func pushed(stops int) string {
	switch {
	case stops > 0:
		return fmt.Sprintf(" push %+d", stops)
	case stops < 0:
		return fmt.Sprintf(" pull %+d", stops)
	}
	return ""
}

// money is an amount in its currency.
func money(minor int64, currency string) string {
	return units.Money{Amount: minor, Currency: currency}.String()
}

// count is a number of things in words.
func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// words makes the server's texts, which hold ids and ISO 8601 durations, fit to
// be read.
type words struct{ names *strings.Replacer }

var isoDuration = regexp.MustCompile(`\bPT[0-9HMS]+\b`)

// Replace gives ids names, and writes durations as clocks do.
func (w words) Replace(text string) string {
	return isoDuration.ReplaceAllStringFunc(w.names.Replace(text), func(iso string) string {
		d, err := units.ParseDuration(iso)
		if err != nil {
			return iso
		}
		return clockTime(d)
	})
}

// words gives every id on the board a name.
func (b *Board) words() words {
	var pairs []string
	add := func(id, name string) { pairs = append(pairs, id, name) }
	for _, k := range b.Kits {
		for n := range k.Portions {
			for _, d := range k.Baths {
				add(fmt.Sprintf("%s/%d/%s", k.ID, n+1, d.Role), "the "+d.Role+" of "+k.Name)
			}
			add(fmt.Sprintf("bath set %s/%d", k.ID, n+1), k.Name)
			add(fmt.Sprintf("%s/%d", k.ID, n+1), k.Name)
		}
		add(k.ID, k.Name)
	}
	for _, s := range b.BathSets {
		kit := b.kit(s.Kit)
		add("bath set "+s.ID, kit.Name)
		add(s.ID, kit.Name)
		for _, bath := range s.Baths {
			add(bath.ID, "the "+bath.Role+" of "+kit.Name)
		}
	}
	for _, e := range slices.Concat(b.Sessions, b.Others) {
		add("session "+e.ID, b.sessionName(e.ID))
		add(e.ID, b.sessionName(e.ID))
	}
	for _, t := range b.Tanks {
		add("tank "+t.ID, "the "+lower(t.Name))
		add(t.ID, lower(t.Name))
	}
	for _, c := range b.Cabinets {
		add("cabinet "+c.ID, "the "+lower(c.Name))
		add(c.ID, lower(c.Name))
	}
	for _, m := range b.Members {
		add("operator "+m.ID, m.Name)
		add(m.ID, m.Name)
	}
	return words{strings.NewReplacer(pairs...)}
}

// clockTime is a span as operators write it: 8:15, 1:02:30.
func clockTime(d units.Duration) string {
	if d >= units.Hour {
		return fmt.Sprintf("%d:%02d:%02d", d/units.Hour, d%units.Hour/units.Minute, d%units.Minute)
	}
	return fmt.Sprintf("%d:%02d", d/units.Minute, d%units.Minute)
}

func lower(s string) string { return strings.ToLower(s[:1]) + s[1:] }
