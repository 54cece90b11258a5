package migrations_test

import (
	"testing"

	"wetside/deploy/testdb"
	"wetside/migrations"
)

// Weekly openings of before become rules, and their sessions know their days.
func TestWeeklyOpeningsBecomeRules(t *testing.T) {
	t.Parallel()
	pool := testdb.New(t)
	p, err := migrations.Provider(pool)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = p.Close() }()
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	_, err = p.DownTo(t.Context(), 6)
	must(err)
	for _, sql := range []string{
		`INSERT INTO labs (id, name, time_zone, currency, area_rule, developing_tolerance_permille, room_temperature_mc, heater_efficiency_permille, created_at)
			VALUES ('lab_1', 'Basement', 'Pacific/Auckland', 'NZD', 'trade', 0, 20000, 800, '2026-11-04T12:00:00Z')`,
		`INSERT INTO members (lab_id, id, name, roles, joined_at) VALUES ('lab_1', 'mem_ann', 'Ann', '{member}', now())`,
		`INSERT INTO tanks (lab_id, id, name, height_mm, volume_ml, heater_w, reel_kinds, clean_up_s, flush_s)
			VALUES ('lab_1', 'tank_1', 'Tank', 200, 1500, 500, '{}', 600, 300)`,
		`INSERT INTO openings (lab_id, id, tank_id, operator_id, weekday, starts, lasts_s, processes)
			SELECT 'lab_1', 'opening_' || d, 'tank_1', 'mem_ann', d, '08:00', 14400, '{c-41}' FROM generate_series(1, 7) d`,
		// Of Tuesday 1 December, by Auckland's clock; the first was called off by hand and the week opened again.
		`INSERT INTO sessions (lab_id, id, tank_id, operator_id, during, processes, opening_id, cancelled_at)
			VALUES ('lab_1', 'session_1', 'tank_1', 'mem_ann', '[2026-11-30T19:00Z,2026-11-30T23:00Z)', '{c-41}', 'opening_2', '2026-11-20Z'),
				('lab_1', 'session_2', 'tank_1', 'mem_ann', '[2026-11-30T19:00Z,2026-11-30T23:00Z)', '{c-41}', 'opening_2', NULL),
				('lab_1', 'session_3', 'tank_1', 'mem_ann', '[2026-11-28T19:00Z,2026-11-28T23:00Z)', '{}', NULL, NULL)`,
	} {
		_, err := pool.Exec(t.Context(), sql)
		must(err)
	}
	for range 2 { // up, down and up again
		_, err = p.Up(t.Context())
		must(err)
		var rules, days, opened string
		must(pool.QueryRow(t.Context(), `
			SELECT string_agg(rule || ' ' || to_char(first_day, 'dy YYYY-MM-DD') || ' ' || starts || ' ' || lasts_s || ' ' || processes[1], ', ' ORDER BY first_day),
				(SELECT string_agg(id || ' ' || occurs_on, ', ' ORDER BY id) FROM sessions),
				(SELECT opened::text FROM calendars)
			FROM openings WHERE rule LIKE '%MO' OR rule LIKE '%SU'`).Scan(&rules, &days, &opened))
		if want := "FREQ=WEEKLY;BYDAY=MO mon 2026-10-26 08:00:00 14400 c-41, FREQ=WEEKLY;BYDAY=SU sun 2026-11-01 08:00:00 14400 c-41"; rules != want {
			t.Errorf("openings %s", rules)
		}
		if days != "session_2 2026-12-01" || opened != "{[2026-11-30,2026-12-07)}" {
			t.Errorf("sessions of days %s, opened %s", days, opened)
		}
		_, err = p.DownTo(t.Context(), 10)
		must(err)
		var weekdays string
		must(pool.QueryRow(t.Context(), `SELECT string_agg(weekday::text, '' ORDER BY weekday) FROM openings`).Scan(&weekdays))
		if weekdays != "1234567" {
			t.Errorf("taken back, there are openings of %s", weekdays)
		}
	}
}
