package migrations_test

import (
	"testing"

	"wetside/deploy/testdb"
	"wetside/lab"
	"wetside/migrations"
)

// The books of a lab that began before terms, payments and months were kept are
// taken over as they are, and can be taken back while nothing newer is in them.
func TestBooksOfBeforeAreTakenOver(t *testing.T) {
	t.Parallel()
	pool := testdb.New(t)
	p, err := migrations.Provider(pool)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = p.Close() }()
	exec := func(sql string) error {
		_, err := pool.Exec(t.Context(), sql)
		return err
	}
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	_, err = p.DownTo(t.Context(), 4)
	must(err)
	for _, sql := range []string{
		`INSERT INTO labs (id, name, time_zone, currency, area_rule, developing_tolerance_permille, room_temperature_mc, heater_efficiency_permille, created_at)
			VALUES ('lab_1', 'Basement', 'Europe/Lisbon', 'EUR', 'trade', 0, 20000, 800, now())`,
		`INSERT INTO members (lab_id, id, name, roles, joined_at) VALUES ('lab_1', 'mem_ann', 'Ann', '{member}', now()), ('lab_1', 'mem_bea', 'Bea', '{member}', now())`,
		`INSERT INTO kits (lab_id, id, name, process, price_minor, bought_by, bought_on, portions, portions_left, mix_s, unopened_until,
				opened_life_s, rated_area_mm2, baths, share_rule, unused_falls_on, subscribers, created_at)
			SELECT 'lab_1', 'kit_' || by, 'Kit', 'c-41', 6000, nullif(by, 'fund'), '2026-01-01', 1, 1, 0, now(), 1, 1, '[]', 'equally', 'fund', '{mem_ann,mem_bea}', now()
			FROM unnest('{mem_ann,fund}'::text[]) AS by`,
		`WITH e AS (INSERT INTO entries (lab_id, id, at, kind, text, kit_id, made_by)
				VALUES ('lab_1', 'entry_1', now(), 'purchase', 'Bought', 'kit_mem_ann', 'mem_ann'))
			INSERT INTO postings (lab_id, entry_id, line, account, member_id, kit_id, amount_minor)
			VALUES ('lab_1', 'entry_1', 1, 'kit', NULL, 'kit_mem_ann', 6000), ('lab_1', 'entry_1', 2, 'member', 'mem_ann', NULL, -6000)`,
	} {
		must(exec(sql))
	}
	for range 2 { // up, down and up again
		_, err = p.Up(t.Context())
		must(err)
		var buyers, spoiled string
		var shares int
		must(pool.QueryRow(t.Context(), `
			SELECT string_agg(buyers::text, ' ' ORDER BY kit_id), min(spoiled_falls_on), (SELECT count(*) FROM subscriptions)
			FROM kit_terms`).Scan(&buyers, &spoiled, &shares))
		if want := `[{"amount": 6000}] [{"amount": 6000, "member": "mem_ann"}]`; buyers != want || spoiled != "as_unused" || shares != 4 {
			t.Errorf("buyers %s, spoiled falls %s, %d subscriptions", buyers, spoiled, shares)
		}
		if err := exec(`INSERT INTO postings (lab_id, entry_id, line, account, amount_minor)
			VALUES ('lab_1', 'entry_1', 3, 'fund', 1), ('lab_1', 'entry_1', 4, 'fund', -1)`); !lab.Violates(err, "23001", "books_append_only") {
			t.Errorf("lines more on an entry of before: %v", err)
		}
		if err := exec(`INSERT INTO entries (lab_id, id, at, kind, text, kit_id, made_by)
			VALUES ('lab_1', 'entry_2', now(), 'purchase', 'Bought', 'kit_mem_ann', 'mem_ann')`); !lab.Violates(err, lab.UniqueViolation, "entries_purchase_once") {
			t.Errorf("bought twice: %v", err)
		}
		_, err = p.DownTo(t.Context(), 4)
		must(err)
	}
}
