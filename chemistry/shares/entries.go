package shares

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

// ListEntries reads a page of the books, oldest first; with kit only what is
// about that kit. Keys are entry ids.
func ListEntries(ctx context.Context, tx pgx.Tx, labID string, kit *string, page lab.Page) (lab.List[Entry], error) {
	entries, err := readEntries(ctx, tx,
		`e.id > $2 AND ($3::text IS NULL OR e.kit_id = $3) ORDER BY e.id LIMIT $4`,
		labID, page.After, kit, page.Limit+1)
	if err != nil {
		return lab.List[Entry]{}, fmt.Errorf("list entries: %w", err)
	}
	return lab.Cut(entries, page, func(e Entry) string { return e.ID }), nil
}

// readEntries reads the lab's ($1) entries e that the rest of the query picks,
// in its order, with their postings.
func readEntries(ctx context.Context, tx pgx.Tx, rest string, args ...any) ([]Entry, error) {
	rows, err := tx.Query(ctx, `
		SELECT e.id, e.at, e.kind, e.text, coalesce(e.kit_id, ''), coalesce(e.run_id, ''), coalesce(e.reverses, ''), coalesce(e.payment_id, ''), e.made_by, coalesce(e.basis, '{}')
		FROM entries e
		WHERE e.lab_id = $1 AND `+rest, args...)
	if err != nil {
		return nil, err
	}
	at := map[string]int{}
	entries, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (e Entry, err error) {
		err = row.Scan(&e.ID, &e.At, &e.Kind, &e.Text, &e.Kit, &e.Run, &e.Reverses, &e.Payment, &e.MadeBy, &e.Basis)
		at[e.ID] = len(at)
		return e, err
	})
	if err != nil {
		return nil, err
	}
	ids := make([]string, len(entries))
	for i := range entries {
		ids[i] = entries[i].ID
		entries[i].At = entries[i].At.UTC()
	}
	rows, err = tx.Query(ctx, `
		SELECT entry_id, account, coalesce(member_id, ''), coalesce(kit_id, ''), coalesce(roll_id, ''),
			coalesce(area_mm2, 0), amount_minor
		FROM postings
		WHERE lab_id = $1 AND entry_id = ANY ($2)
		ORDER BY entry_id, line`, args[0], ids)
	if err != nil {
		return nil, err
	}
	var id string
	var p Posting
	_, err = pgx.ForEachRow(rows, []any{&id, &p.Account, &p.Member, &p.Kit, &p.Roll, &p.AreaMM2, &p.Amount}, func() error {
		e := &entries[at[id]]
		e.Postings = append(e.Postings, p)
		return nil
	})
	return entries, err
}
