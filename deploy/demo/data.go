package demo

import (
	"bytes"
	"embed"
	"encoding/json"
	"fmt"
	"strings"
	"time"

	"wetside/lab"
	"wetside/lab/units"
	"wetside/scheduling"
)

//go:embed *.json
var files embed.FS

// A coop is the co-op: who and what there is.
type coop struct {
	About   string         `json:"about"`
	Lab     map[string]any `json:"lab"`
	Keeper  string         `json:"keeper"`
	Members []struct {
		Key   string     `json:"key"`
		Name  string     `json:"name"`
		Roles []lab.Role `json:"roles"`
	} `json:"members"`
	Reels []json.RawMessage `json:"reels"`
	Tanks []struct {
		Key string `json:"key"`
		lab.NewTank
	} `json:"tanks"`
	Cabinets []json.RawMessage `json:"cabinets"`
	Openings []struct {
		Key       string         `json:"key"`
		Rule      string         `json:"rule"`
		Starts    string         `json:"starts"`
		Lasts     units.Duration `json:"lasts"`
		Tank      string         `json:"tank"`
		Operator  string         `json:"operator"`
		Processes []string       `json:"processes"`
	} `json:"openings"`
}

// kits are the kits that the co-op buys, and when it mixes them.
type kits struct {
	About string    `json:"about"`
	Kits  []kitData `json:"kits"`
}

// A kitData is a kit, who bought it when, and when it is mixed, if it is
// before the coming week. Like names a kit whose chemistry it shares.
type kitData struct {
	Key    string `json:"key"`
	Bought string `json:"bought"`
	By     string `json:"by"`
	Mixed  string `json:"mixed"`
	Like   string `json:"like"`
	Kit    newKit `json:"kit"`
}

// A newKit is what buyKit takes.
type newKit struct {
	Name          string          `json:"name"`
	Process       string          `json:"process"`
	Price         units.Money     `json:"price"`
	BoughtBy      string          `json:"bought_by,omitempty"`
	BoughtOn      string          `json:"bought_on"`
	Portions      int64           `json:"portions"`
	Mix           units.Duration  `json:"mix"`
	UnopenedUntil time.Time       `json:"unopened_until"`
	OpenedLife    units.Duration  `json:"opened_life"`
	RatedAreaMM2  int64           `json:"rated_area_mm2"`
	Baths         json.RawMessage `json:"baths"`
	ShareRule     string          `json:"share_rule"`
	UnusedFallsOn string          `json:"unused_falls_on"`
	Subscribers   []string        `json:"subscribers,omitempty"`
}

// past is what the co-op lived through before the coming week.
type past struct {
	About string `json:"about"`
	Turns []turn `json:"turns"`
	// Breakdown is a tank out of order for a while.
	Breakdown struct {
		Tank   string `json:"tank"`
		Week   int    `json:"week"`
		At     string `json:"at"`
		Mended string `json:"mended"`
		What   string `json:"what"`
	} `json:"breakdown"`
	Close struct {
		Kit     string `json:"kit"`
		At      string `json:"at"`
		Because string `json:"because"`
	} `json:"close"`
}

// A turn is a span planned at once, up to the end of its week.
type turn struct {
	Open    string     `json:"open"`
	Week    int        `json:"week"`
	Plan    string     `json:"plan"`
	Collect string     `json:"collect"`
	Rolls   []rollData `json:"rolls"`
}

// A rollData is a roll, or several alike, and when they are handed in.
type rollData struct {
	Key        string         `json:"key"`
	Of         string         `json:"of"`
	Format     string         `json:"format"`
	LengthMM   int64          `json:"length_mm"`
	Process    string         `json:"process"`
	Push       int            `json:"push"`
	Developing units.Duration `json:"developing"`
	Count      int            `json:"count"`
	At         string         `json:"at"`
	Due        string         `json:"due"`
	Note       string         `json:"note"`
	// Spoiled is what went wrong in the run.
	Spoiled string   `json:"spoiled"`
	Refused []string `json:"refused"`
}

// A bookingData is a booking; Refused are reasons for which it must be turned down.
type bookingData struct {
	Of      string   `json:"of"`
	Session string   `json:"session"`
	Rolls   []string `json:"rolls"`
	At      string   `json:"at"`
	Refused []string `json:"refused"`
}

// A directionData is a pin or a ban.
type directionData struct {
	Roll    string `json:"roll"`
	Session string `json:"session"`
	At      string `json:"at"`
}

// week is the coming week.
type week struct {
	About     string        `json:"about"`
	Open      string        `json:"open"`
	Counter   []rollData    `json:"counter"`
	Rolls     []rollData    `json:"rolls"`
	Look      bookingData   `json:"look"`
	Bookings  []bookingData `json:"bookings"`
	Plan      string        `json:"plan"`
	Pin       directionData `json:"pin"`
	Ban       directionData `json:"ban"`
	Again     string        `json:"again"`
	Meanwhile bookingData   `json:"meanwhile"`
	Stale     string        `json:"stale"`
	Commit    string        `json:"commit"`
}

// after is the week after the coming one, for which members book ahead.
type after struct {
	About    string `json:"about"`
	Open     string `json:"open"`
	Calendar struct {
		At     string `json:"at"`
		Closed struct {
			Day    string `json:"day"`
			Reason string `json:"reason"`
		} `json:"closed"`
		Extra struct {
			Opening string         `json:"opening"`
			Day     string         `json:"day"`
			Starts  string         `json:"starts"`
			Lasts   units.Duration `json:"lasts"`
			Reason  string         `json:"reason"`
		} `json:"extra"`
		Alone struct {
			Rule      string         `json:"rule"`
			Starts    string         `json:"starts"`
			Lasts     units.Duration `json:"lasts"`
			Tank      string         `json:"tank"`
			Processes []string       `json:"processes"`
		} `json:"alone"`
	} `json:"calendar"`
	// Ask is what a member would like to book together; Confirm is when they make that good.
	Ask struct {
		Of    string            `json:"of"`
		At    string            `json:"at"`
		Films []scheduling.Film `json:"films"`
	} `json:"ask"`
	Confirm string `json:"confirm"`
	// Wait has the rolls of who has the places, those of who waits for some, in
	// turn, when one is given back, and when the offer that comes of it is accepted.
	Wait struct {
		Session string     `json:"session"`
		Has     rollData   `json:"has"`
		List    []rollData `json:"list"`
		Back    string     `json:"back"`
		Accept  string     `json:"accept"`
	} `json:"wait"`
	// Lapse is a place held, and looked at once the hold is over.
	Lapse struct {
		Session string   `json:"session"`
		Roll    rollData `json:"roll"`
		Look    string   `json:"look"`
	} `json:"lapse"`
	// Alone is what a member would run themselves.
	Alone struct {
		Session string   `json:"session"`
		Roll    rollData `json:"roll"`
	} `json:"alone"`
	// Joins is who is invited, and what they bring.
	Joins struct {
		At    string   `json:"at"`
		Name  string   `json:"name"`
		Email string   `json:"email"`
		Roll  rollData `json:"roll"`
	} `json:"joins"`
	Hear string `json:"hear"`
	Plan string `json:"plan"`
}

// data is the demo's files, read.
type data struct {
	coop  coop
	kits  kits
	past  past
	week  week
	after after
}

// read reads the embedded files strictly.
func read() (*data, error) {
	var d data
	for name, into := range map[string]any{"coop.json": &d.coop, "kits.json": &d.kits, "past.json": &d.past, "week.json": &d.week, "after.json": &d.after} {
		text, err := files.ReadFile(name)
		if err != nil {
			return nil, err
		}
		dec := json.NewDecoder(bytes.NewReader(text))
		dec.DisallowUnknownFields()
		if err := dec.Decode(into); err != nil {
			return nil, fmt.Errorf("demo data %s: %w", name, err)
		}
	}
	return &d, nil
}

// name is the lab's name, by which the demo finds itself again.
func (d *data) name() string { return d.coop.Lab["name"].(string) }

// A calendar turns the data's dates into instants.
type calendar struct {
	monday time.Time // 00:00 of the coming Monday, in the lab's zone
}

// newCalendar counts weeks from the one after now's, in the zone.
func newCalendar(now time.Time, zone *time.Location) calendar {
	now = now.In(zone)
	y, m, d := now.Date()
	return calendar{monday: time.Date(y, m, d+7-int(now.Weekday()+6)%7, 0, 0, 0, 0, zone)}
}

// week is midnight at the Monday of a week counted from the coming one.
func (c calendar) week(n int) time.Time { return c.monday.AddDate(0, 0, 7*n) }

var weekdays = []string{"Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"}

// at is the instant of "-2 Wed 17:30": week, weekday, wall-clock time.
func (c calendar) at(text string) (time.Time, error) {
	var week, hour, minute int
	var day string
	if _, err := fmt.Sscanf(text, "%d %s %d:%d", &week, &day, &hour, &minute); err != nil {
		return time.Time{}, fmt.Errorf("date %q: %w", text, err)
	}
	for i, name := range weekdays {
		if strings.EqualFold(name, day) {
			y, m, d := c.week(week).AddDate(0, 0, i).Date()
			return time.Date(y, m, d, hour, minute, 0, 0, c.monday.Location()), nil
		}
	}
	return time.Time{}, fmt.Errorf("date %q: no such day", text)
}
