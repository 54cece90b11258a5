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
	// hashes alone, are left out.
	Records map[string][]json.RawMessage `json:"records"`
	// Mentions are the ids of further rows that name the member, such as what they
	// entered for others, by table.
	Mentions map[string][]string `json:"mentions"`
}

// aboutThem are the columns by which a row is about a member; by others, such as
// who entered it, it only mentions them.
var aboutThem = []string{"member_id", "payer", "payee", "bought_by", "guest_of", "operator_id"}

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
		Secrets       []string
	}
	rows, err := tx.Query(ctx, `
		SELECT c.conrelid::regclass::text, quote_ident(a.attname), a.attname = ANY ($1), array(
			SELECT attname::text FROM pg_attribute WHERE attrelid = c.conrelid AND attnum > 0 AND NOT attisdropped
				AND (atttypid = 'bytea'::regtype OR attname IN ('lab_id', 'phc')))
		FROM pg_constraint c JOIN pg_attribute a ON a.attrelid = c.conrelid AND a.attnum = ANY (c.conkey) AND a.attname <> 'lab_id'
		WHERE c.contype = 'f' AND c.confrelid = 'members'::regclass ORDER BY 1, 2`, aboutThem)
	if err != nil {
		return PersonalData{}, fmt.Errorf("personal data: %w", err)
	}
	all, err := pgx.CollectRows(rows, pgx.RowToStructByPos[reference])
	if err != nil {
		return PersonalData{}, fmt.Errorf("personal data: %w", err)
	}
	for _, ref := range all { // names of the catalogue's, quoted there
		what := `to_jsonb(t) - $3::text[]`
		if !ref.About {
			what = `coalesce(to_jsonb(t) ->> 'id', to_jsonb(t) ->> 'entry_id', to_jsonb(t) ->> 'roll_id', to_jsonb(t) ->> 'kit_id', '')`
		}
		rows, err := tx.Query(ctx, `SELECT (`+what+`)::text FROM `+ref.Table+` t WHERE lab_id = $1 AND `+ref.Column+` = $2
			AND $3::text[] IS NOT NULL ORDER BY 1`, s.Lab.ID, id, ref.Secrets)
		if err != nil {
			return PersonalData{}, fmt.Errorf("personal data in %s: %w", ref.Table, err)
		}
		found, err := pgx.CollectRows(rows, pgx.RowTo[string])
		if err != nil {
			return PersonalData{}, fmt.Errorf("personal data in %s: %w", ref.Table, err)
		}
		for _, text := range found {
			if ref.About {
				p.Records[ref.Table] = append(p.Records[ref.Table], json.RawMessage(text))
			} else {
				p.Mentions[ref.Table] = append(p.Mentions[ref.Table], text)
			}
		}
	}
	return p, nil
}
