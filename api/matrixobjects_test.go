package api_test

import (
	"context"
	"slices"
	"strings"

	"github.com/jackc/pgx/v5"
)

// found reads, for each parameter that names an object, one of lab $1, and where
// objects are somebody's one of member $2.
var found = map[string]string{
	"member":     `SELECT id FROM members WHERE lab_id = $1 AND id = $2`,
	"sign_in":    `SELECT id FROM sign_ins WHERE lab_id = $1 AND member_id = $2 ORDER BY id LIMIT 1`,
	"message":    `SELECT id FROM messages WHERE lab_id = $1 AND member_id = $2 ORDER BY id LIMIT 1`,
	"feed":       `SELECT id FROM feeds WHERE lab_id = $1 AND member_id = $2 ORDER BY id LIMIT 1`,
	"roll":       `SELECT r.id FROM rolls r JOIN booking_rolls b ON b.lab_id = r.lab_id AND b.roll_id = r.id WHERE r.lab_id = $1 AND r.member_id = $2 ORDER BY b.live DESC, r.id LIMIT 1`,
	"booking":    `SELECT id FROM bookings WHERE lab_id = $1 AND member_id = $2 ORDER BY cancelled_at IS NULL DESC, id LIMIT 1`,
	"waiting":    `SELECT id FROM waiting_entries WHERE lab_id = $1 AND member_id = $2 ORDER BY id LIMIT 1`,
	"payment":    `SELECT id FROM payments WHERE lab_id = $1 AND payee = $2 AND payer IS NULL ORDER BY id LIMIT 1`,
	"invitation": `SELECT id FROM invitations WHERE lab_id = $1 AND $2 <> '' ORDER BY id LIMIT 1`,
	"tank":       `SELECT id FROM tanks WHERE lab_id = $1 AND $2 <> '' ORDER BY id LIMIT 1`,
	"cabinet":    `SELECT id FROM cabinets WHERE lab_id = $1 AND $2 <> '' ORDER BY id LIMIT 1`,
	"opening":    `SELECT id FROM openings WHERE lab_id = $1 AND $2 <> '' ORDER BY id LIMIT 1`,
	"closure":    `SELECT id FROM closures WHERE lab_id = $1 AND $2 <> '' ORDER BY id LIMIT 1`,
	"extra":      `SELECT id FROM extra_days WHERE lab_id = $1 AND $2 <> '' ORDER BY id LIMIT 1`,
	"hook":       `SELECT id FROM hooks WHERE lab_id = $1 AND $2 <> '' ORDER BY id LIMIT 1`,
	"session":    `SELECT id FROM sessions WHERE lab_id = $1 AND $2 <> '' ORDER BY id LIMIT 1`,
	"kit":        `SELECT kit_id FROM terms_changes WHERE lab_id = $1 AND $2 <> '' ORDER BY id LIMIT 1`,
	"change":     `SELECT id FROM terms_changes WHERE lab_id = $1 AND $2 <> '' ORDER BY id LIMIT 1`,
	"bath_set":   `SELECT id FROM bath_sets WHERE lab_id = $1 AND $2 <> '' ORDER BY id LIMIT 1`,
	"bath":       `SELECT id FROM baths WHERE lab_id = $1 AND $2 <> '' ORDER BY id LIMIT 1`,
	"strike":     `SELECT id FROM strikes WHERE lab_id = $1 AND $2 <> '' ORDER BY id LIMIT 1`,
	"pin":        `SELECT id FROM directions WHERE lab_id = $1 AND kind = 'pin' AND $2 <> '' ORDER BY id LIMIT 1`,
	"ban":        `SELECT id FROM directions WHERE lab_id = $1 AND kind = 'ban' AND $2 <> '' ORDER BY id LIMIT 1`,
	"plan":       `SELECT id FROM plans WHERE lab_id = $1 AND $2 <> '' ORDER BY id LIMIT 1`,
	"batch":      `SELECT id FROM batches WHERE lab_id = $1 AND $2 <> '' ORDER BY id LIMIT 1`,
	"run":        `SELECT id FROM runs WHERE lab_id = $1 AND $2 <> '' ORDER BY id LIMIT 1`,
	"entry":      `SELECT id FROM entries WHERE lab_id = $1 AND $2 <> '' ORDER BY id LIMIT 1`,
}

// ofMembers are the parameters whose objects are somebody's.
var ofMembers = []string{"member", "sign_in", "message", "feed", "roll", "booking", "waiting", "payment"}

// codes are the same in every lab, and here one that is in none.
var codes = map[string][2]string{
	"process": {"c-41", "no-such-process"}, "format": {"135-36", "no-such-format"}, "kind": {"place-offered", "no-such-kind"},
	"code": {"does-not-fit", "no-such-problem"}, "secret": {strings.Repeat("A", 43), strings.Repeat("B", 43)},
}

// add makes what the story leaves out, of both members.
func (m *matrix) add(ctx context.Context, tx pgx.Tx, owner, second string) error {
	for _, sql := range []string{
		`INSERT INTO invitations (lab_id, id, secret_sha256, name, roles, invited_by, created_at, expires_at)
			VALUES ($1, new_id('invitation', now()), 'x', 'Somebody', '{member}', $2, now(), now() + interval '1 day')`,
		`INSERT INTO closures (lab_id, id, from_day, until_day, reason, made_by, made_at)
			VALUES ($1, new_id('closure', now()), '2027-01-01', '2027-01-02', 'Holiday', $2, now())`,
		`INSERT INTO extra_days (lab_id, id, opening_id, day, reason, made_by, made_at)
			SELECT $1, new_id('extra', now()), min(id), '2027-01-09', 'Fair', $2, now() FROM openings WHERE lab_id = $1`,
		`INSERT INTO hooks (lab_id, id, url, kinds, added_by, added_at) VALUES ($1, new_id('hook', now()), 'https://hooks.example/', '{}', $2, now())`,
		`INSERT INTO strikes (lab_id, id, member_id, booking_id, kind, at)
			SELECT $1, new_id('strike', now()), member_id, id, 'no_show', now() FROM bookings WHERE lab_id = $1 AND member_id = $2 LIMIT 1`,
		`INSERT INTO messages (lab_id, id, member_id, kind, title, text, sent_at)
			SELECT $1, new_id('message', now()), id, 'place-offered', 'A place', 'A place', now() FROM members WHERE lab_id = $1 AND $2 <> ''`,
		`INSERT INTO feeds (lab_id, id, member_id, feed_of, secret_sha256, created_at)
			SELECT $1, new_id('feed', now()), id, 'member', sha256(id::bytea), now() FROM members WHERE lab_id = $1 AND $2 <> ''`,
		`INSERT INTO waiting_entries (lab_id, id, member_id, from_at, until_at, joined_at)
			SELECT $1, new_id('waiting', now()), id, now(), now() + interval '90 days', now() FROM members WHERE lab_id = $1 AND $2 <> ''`,
		`INSERT INTO waiting_rolls (lab_id, entry_id, roll_id)
			SELECT w.lab_id, w.id, min(r.id) FROM waiting_entries w JOIN rolls r USING (lab_id, member_id) WHERE lab_id = $1 AND $2 <> '' GROUP BY w.lab_id, w.id
			ON CONFLICT DO NOTHING`,
		`DELETE FROM waiting_entries w WHERE lab_id = $1 AND $2 <> '' AND NOT EXISTS (SELECT FROM waiting_rolls r WHERE r.lab_id = w.lab_id AND r.entry_id = w.id)`,
		`INSERT INTO tank_certifications (lab_id, member_id, tank_id, certified_by, certified_at)
			SELECT m.lab_id, m.id, t.id, $2, now() FROM members m JOIN tanks t USING (lab_id) WHERE lab_id = $1
			ON CONFLICT DO NOTHING`,
		`INSERT INTO payments (lab_id, id, payer, payee, amount_minor, paid_on, reference, note, state, recorded_by, recorded_at)
			SELECT $1, new_id('payment', now()), NULL, id, 100, '2026-11-01', 'RF00', '', 'recorded', id, now() FROM members WHERE lab_id = $1 AND $2 <> ''`,
	} {
		if _, err := tx.Exec(ctx, sql, m.told.Lab, owner); err != nil {
			m.t.Log(sql)
			return err
		}
	}
	_, err := tx.Exec(ctx, `INSERT INTO subscriptions (lab_id, kit_id, member_id, shares, made_at)
		SELECT $1, (SELECT kit_id FROM terms_changes WHERE lab_id = $1 ORDER BY id LIMIT 1), m, 1, now() FROM unnest($2::text[]) m ON CONFLICT DO NOTHING`,
		m.told.Lab, []string{owner, second})
	return err
}

// gather finds what the paths can name: of one member and of another, in another
// lab, and what is not there at all.
func (m *matrix) gather(owner, second string) {
	ctx := m.t.Context()
	err := pgx.BeginFunc(ctx, m.server.Pool, func(tx pgx.Tx) error {
		if _, err := tx.Exec(ctx, `SET LOCAL session_replication_role = replica`); err != nil {
			return err
		}
		if err := m.add(ctx, tx, owner, second); err != nil {
			return err
		}
		mine := object{name: "a member's own", owner: owner, ids: map[string]string{}}
		others := object{name: "another member's own", owner: second, ids: map[string]string{}}
		foreign := object{name: "another lab's", elsewhere: true, ids: map[string]string{}}
		nobodys := object{name: "nobody's", elsewhere: true, ids: map[string]string{}}
		for name, query := range found {
			for _, o := range []object{mine, others} {
				var id string
				if err := tx.QueryRow(ctx, query, m.told.Lab, o.owner).Scan(&id); err != nil {
					m.t.Errorf("no %s for %s: %v", name, o.name, err)
					continue
				}
				o.ids[name] = id
			}
			// The other lab gets a copy under an id of its own.
			table := strings.Fields(query[strings.Index(query, " FROM "):])[1]
			column := strings.TrimPrefix(strings.Fields(query)[1], "r.")
			prefix, _, _ := strings.Cut(mine.ids[name], "_")
			if column == "kit_id" {
				table, column = "kits", "id"
			}
			copied, absent := "", ""
			err := tx.QueryRow(ctx, `SELECT new_id($1, now()), new_id($1, now())`, prefix).Scan(&copied, &absent)
			if err != nil {
				return err
			}
			columns := ""
			err = tx.QueryRow(ctx, `SELECT string_agg(quote_ident(attname), ', ') FROM pg_attribute
				WHERE attrelid = $1::regclass AND attnum > 0 AND NOT attisdropped AND attgenerated = ''`, table).Scan(&columns)
			if err != nil {
				return err
			}
			_, err = tx.Exec(ctx, `INSERT INTO `+table+` (`+columns+`) OVERRIDING SYSTEM VALUE SELECT `+columns+` FROM (
				SELECT (jsonb_populate_record(t, jsonb_build_object('lab_id', $3::text, 'id', $4::text))).*
				FROM `+table+` t WHERE lab_id = $1 AND `+column+` = $2 LIMIT 1) copy`, m.told.Lab, mine.ids[name], m.other, copied)
			if err != nil {
				return err
			}
			foreign.ids[name], nobodys.ids[name] = copied, absent
		}
		for name, values := range codes {
			mine.ids[name], others.ids[name], foreign.ids[name], nobodys.ids[name] = values[0], values[0], values[1], values[1]
		}
		m.objects = []object{mine, others, foreign, nobodys}
		return nil
	})
	if err != nil {
		m.t.Fatal(err)
	}
}

// objectsOf are the objects that an operation can be asked for; where they are
// nobody's in particular, one of the lab stands for both members'.
func (m *matrix) objectsOf(op contractOperation) []object {
	named := op.parameters()
	if op.id == "estimateCost" { // names it in the query
		named = []string{"roll"}
	}
	owned := slices.ContainsFunc(named, func(name string) bool { return slices.Contains(ofMembers, name) })
	switch {
	case len(named) == 0:
		return []object{{name: "in the lab"}}
	case !owned:
		lab := m.objects[0]
		lab.name, lab.owner = "the lab's", ""
		return append([]object{lab}, m.objects[2:]...)
	}
	return m.objects
}
