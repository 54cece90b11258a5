package lab

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
)

// PersonalData is all that the lab keeps of one member.
type PersonalData struct {
	Member Member    `json:"member"`
	At     time.Time `json:"at"`
	// Records are the rows about the member, by table; secrets, which are kept as
	// hashes or sealed, are left out, and so is what is of others beside them.
	Records map[string][]json.RawMessage `json:"records"`
	// Mentions are the ids of further rows that name the member, such as what they
	// entered for others, by table.
	Mentions map[string][]string `json:"mentions"`
}

// aboutThem are the columns by which a row is about a member; by others, such as
// who entered it, it only mentions them.
var aboutThem = []string{"member_id", "payer", "payee", "bought_by", "guest_of", "operator_id", "added_by"}

// leftOut are columns that are no record of the member: secrets, the lab, which
// is one, and what an entry was reckoned from, which is of all who shared in it.
var leftOut = []string{"lab_id", "phc", "basis", "written_in", "fingerprint", "headers"}

// farther are rows about a member in tables that do not refer to members by a
// key: by what the rows belong to, by an address, by its hash. $1 is the lab, $2
// the member, $3 their address or null.
var farther = []struct{ table, about string }{
	{"entries", `id IN (SELECT entry_id FROM postings WHERE lab_id = $1 AND member_id = $2)`},
	{"booking_rolls", `booking_id IN (SELECT id FROM bookings WHERE lab_id = $1 AND member_id = $2)`},
	{"waiting_rolls", `entry_id IN (SELECT id FROM waiting_entries WHERE lab_id = $1 AND member_id = $2)`},
	{"batch_rolls", `roll_id IN (SELECT id FROM rolls WHERE lab_id = $1 AND member_id = $2)`},
	{"directions", `roll_id IN (SELECT id FROM rolls WHERE lab_id = $1 AND member_id = $2)`},
	{"free_rolls", `roll_id IN (SELECT id FROM rolls WHERE lab_id = $1 AND member_id = $2)`},
	{"refresh_tokens", `sign_in_id IN (SELECT id FROM sign_ins WHERE lab_id = $1 AND member_id = $2)`},
	{"invitations", `member_id IS DISTINCT FROM $2 AND email = $3`},
	{"mails", `recipient = $3`},
	{"code_requests", `email = $3`},
	{"password_failures", `email_sha256 IN (sha256(convert_to('member ' || $2, 'UTF8')), sha256(convert_to('address ' || $3, 'UTF8')))`},
	{"audit_log", `$2 IN (by_member, about_member)`},
	{"idempotency_keys", `principal = $1 || '/' || $2`},
}

// Personal reads all about a member. It asks the catalogue which tables refer to
// members, so that no table is left out. It refuses with NotFound.
func Personal(ctx context.Context, tx pgx.Tx, s Scope, id string) (PersonalData, error) {
	m, err := FindMember(ctx, tx, s.Lab.ID, id)
	if err != nil {
		return PersonalData{}, err
	}
	p := PersonalData{Member: m, At: s.Now, Records: map[string][]json.RawMessage{}, Mentions: map[string][]string{}}
	type reference struct {
		Table, Column string
		About         bool
	}
	rows, err := tx.Query(ctx, `
		SELECT c.conrelid::regclass::text, quote_ident(a.attname), a.attname = ANY ($1)
		FROM pg_constraint c JOIN pg_attribute a ON a.attrelid = c.conrelid AND a.attnum = ANY (c.conkey) AND a.attname <> 'lab_id'
		WHERE c.contype = 'f' AND c.confrelid = 'members'::regclass ORDER BY 1, 2`, aboutThem)
	if err != nil {
		return PersonalData{}, fmt.Errorf("personal data: %w", err)
	}
	all, err := pgx.CollectRows(rows, pgx.RowToStructByPos[reference])
	if err != nil {
		return PersonalData{}, fmt.Errorf("personal data: %w", err)
	}
	who := []any{s.Lab.ID, id, m.Email}
	record := func(table, about string) error {
		secrets := `$4::text[] || array(SELECT attname::text FROM pg_attribute WHERE attrelid = '` + table + `'::regclass AND atttypid = 'bytea'::regtype)`
		ours := `lab_id = $1 AND `
		if table == "idempotency_keys" { // its principal begins with the lab
			ours = ""
		}
		found, err := texts(ctx, tx, table, `to_jsonb(t) - (`+secrets+`)`, ours+about, append(who, leftOut)...)
		for _, text := range found {
			p.Records[table] = append(p.Records[table], json.RawMessage(text))
		}
		return err
	}
	for _, ref := range all { // names of the catalogue's, quoted there
		if ref.About {
			err = record(ref.Table, ref.Column+` = $2`)
		} else {
			var found []string
			found, err = texts(ctx, tx, ref.Table, `coalesce(to_jsonb(t) ->> 'id', to_jsonb(t) ->> 'entry_id', to_jsonb(t) ->> 'roll_id', to_jsonb(t) ->> 'kit_id', '')`,
				`lab_id = $1 AND `+ref.Column+` = $2 AND $4::text[] IS NOT NULL`, append(who, leftOut)...)
			if len(found) > 0 {
				p.Mentions[ref.Table] = append(p.Mentions[ref.Table], found...)
			}
		}
		if err != nil {
			return PersonalData{}, err
		}
	}
	for _, f := range farther {
		if err := record(f.table, f.about); err != nil {
			return PersonalData{}, err
		}
	}
	return p, nil
}

// texts reads what of each row of a table. PostgreSQL has to learn the types of
// $2 and $3 where nothing else asks for them.
func texts(ctx context.Context, tx pgx.Tx, table, what, where string, args ...any) ([]string, error) {
	rows, err := tx.Query(ctx, `SELECT (`+what+`)::text FROM `+table+` t
		WHERE ($2::text, $3::text) IS DISTINCT FROM (NULL, NULL) AND `+where+` ORDER BY 1`, args...)
	if err != nil {
		return nil, fmt.Errorf("personal data in %s: %w", table, err)
	}
	found, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		return nil, fmt.Errorf("personal data in %s: %w", table, err)
	}
	return found, nil
}
