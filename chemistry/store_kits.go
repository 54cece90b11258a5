package chemistry

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

const kitColumns = `
	k.id, k.name, k.process, k.price_minor, l.currency, coalesce(k.bought_by, ''),
	to_char(k.bought_on, 'YYYY-MM-DD'), k.portions, k.portions_left, k.mix_s,
	k.unopened_until, k.opened_life_s, k.opened_at, k.rated_area_mm2, k.baths,
	k.share_rule, k.unused_falls_on, k.subscribers, k.closed_at,
	coalesce(k.closed_because, ''), k.created_at, k.version`

const selectKits = `SELECT ` + kitColumns + ` FROM kits k JOIN labs l ON l.id = k.lab_id WHERE k.lab_id = $1 `

// AddKit enters a kit that was bought; the entry in the books is package
// shares' to write. It refuses with invalid: the process must exist and the
// baths be its baths, buyer and subscribers must be members.
func AddKit(ctx context.Context, tx pgx.Tx, s lab.Scope, k NewKit) (Kit, error) {
	p, err := FindProcess(ctx, tx, s.Lab.ID, k.Process, 0)
	if lab.RefusalCode(err) == "not-found" {
		return Kit{}, refuseFaults("", fault("/process", "no-such-process", "the lab has no process %q", k.Process))
	}
	if err != nil {
		return Kit{}, err
	}
	if err := refuseFaults("", k.Validate(p, s.Lab.Currency)...); err != nil {
		return Kit{}, err
	}
	people, err := k.checkPeople(ctx, tx, s.Lab.ID)
	if err != nil {
		return Kit{}, err
	}
	if err := refuseFaults("", people...); err != nil {
		return Kit{}, err
	}
	if err := lab.Touch(ctx, tx, s.Lab.ID); err != nil {
		return Kit{}, err
	}
	subscribers := k.Subscribers
	if subscribers == nil {
		subscribers = []string{}
	}
	var id string
	err = tx.QueryRow(ctx, `
		INSERT INTO kits (lab_id, id, name, process, price_minor, bought_by, bought_on, portions, portions_left,
			mix_s, unopened_until, opened_life_s, rated_area_mm2, baths, share_rule, unused_falls_on, subscribers, created_at)
		VALUES ($1, new_id('kit', $2), $3, $4, $5, nullif($6, ''), $7::text::date, $8, $8,
			$9, $10, $11, $12, $13, $14, $15, $16, $2)
		RETURNING id`,
		s.Lab.ID, s.Now, k.Name, k.Process, k.Price.Amount, k.BoughtBy, k.BoughtOn, k.Portions,
		k.Mix, k.UnopenedUntil, k.OpenedLife, k.RatedAreaMM2, k.Baths, k.ShareRule, k.UnusedFallsOn, subscribers).Scan(&id)
	if err != nil {
		return Kit{}, fmt.Errorf("add kit: %w", err)
	}
	return FindKit(ctx, tx, s.Lab.ID, id)
}

// checkPeople says which of the kit's people are not members of the lab now.
func (k NewKit) checkPeople(ctx context.Context, tx pgx.Tx, labID string) ([]Fault, error) {
	var fs faults
	check := func(pointer, id string) error {
		m, err := lab.FindMember(ctx, tx, labID, id)
		if lab.RefusalCode(err) == "not-found" || err == nil && m.LeftAt != nil {
			fs.add(pointer, "no-such-member", "the lab has no such member")
			return nil
		}
		return err
	}
	if k.BoughtBy != "" {
		if err := check("/bought_by", k.BoughtBy); err != nil {
			return nil, err
		}
	}
	for i, m := range k.Subscribers {
		if err := check(fmt.Sprintf("/subscribers/%d", i), m); err != nil {
			return nil, err
		}
	}
	return fs, nil
}

// FindKit reads a kit. It refuses with NotFound.
func FindKit(ctx context.Context, tx pgx.Tx, labID, id string) (Kit, error) {
	return oneKit(ctx, tx, selectKits+`AND k.id = $2`, labID, id)
}

// LockKit reads a kit and holds its row until the transaction ends. Whoever
// locks the lab too locks it first. It refuses with NotFound.
func LockKit(ctx context.Context, tx pgx.Tx, labID, id string) (Kit, error) {
	return oneKit(ctx, tx, selectKits+`AND k.id = $2 FOR NO KEY UPDATE OF k`, labID, id)
}

// ListKits is a page of the lab's kits, in the order in which they were entered.
func ListKits(ctx context.Context, tx pgx.Tx, labID string, page lab.Page) (lab.List[Kit], error) {
	kits, err := manyKits(ctx, tx, selectKits+`AND k.id > $2 ORDER BY k.id LIMIT $3`, labID, page.After, page.Limit+1)
	if err != nil {
		return lab.List[Kit]{}, err
	}
	return lab.Cut(kits, page, func(k Kit) string { return k.ID }), nil
}

// OpenKits are the kits that are not closed, all mixed or not, in the order in
// which they were entered.
func OpenKits(ctx context.Context, tx pgx.Tx, labID string) ([]Kit, error) {
	return manyKits(ctx, tx, selectKits+`AND k.closed_at IS NULL ORDER BY k.id`, labID)
}

// KitsOnShelf are the kits of which a portion could be mixed at now, those
// that must be mixed soonest first.
func KitsOnShelf(ctx context.Context, tx pgx.Tx, labID string, now time.Time) ([]Kit, error) {
	return manyKits(ctx, tx, selectKits+`
		AND k.closed_at IS NULL AND k.portions_left > 0
		AND least(k.unopened_until, k.opened_at + k.opened_life_s * interval '1 second') >= $2
		ORDER BY least(k.unopened_until, k.opened_at + k.opened_life_s * interval '1 second'), k.id`, labID, now)
}

// KitsInUse are the kits for a process that are opened and not closed, those
// opened first first.
func KitsInUse(ctx context.Context, tx pgx.Tx, labID, process string) ([]Kit, error) {
	return manyKits(ctx, tx, selectKits+`
		AND k.process = $2 AND k.closed_at IS NULL AND k.opened_at IS NOT NULL ORDER BY k.opened_at, k.id`, labID, process)
}

// MarkKitClosed closes a kit: nothing is mixed from it, or run in its baths,
// any more. Sharing its price is package shares' to do. It refuses with
// NotFound, invalid and kit-closed.
func MarkKitClosed(ctx context.Context, tx pgx.Tx, s lab.Scope, kitID string, because ClosedBecause) (Kit, error) {
	if !because.Known() {
		return Kit{}, refuseFaults("", fault("/because", "unknown", "want used_up, expired or thrown_away, not %q", because))
	}
	if err := lab.Touch(ctx, tx, s.Lab.ID); err != nil {
		return Kit{}, err
	}
	k, err := LockKit(ctx, tx, s.Lab.ID, kitID)
	if err != nil {
		return Kit{}, err
	}
	if k.ClosedAt != nil {
		return Kit{}, lab.Refuse(lab.Conflict, "kit-closed", "%s is closed already", k.Name)
	}
	_, err = tx.Exec(ctx, `
		UPDATE kits SET closed_at = $3, closed_because = $4, version = version + 1
		WHERE lab_id = $1 AND id = $2`, s.Lab.ID, kitID, s.Now, because)
	if err != nil {
		return Kit{}, fmt.Errorf("close kit: %w", err)
	}
	return FindKit(ctx, tx, s.Lab.ID, kitID)
}

func oneKit(ctx context.Context, tx pgx.Tx, query string, args ...any) (Kit, error) {
	kits, err := manyKits(ctx, tx, query, args...)
	if err != nil {
		return Kit{}, err
	}
	if len(kits) != 1 {
		return Kit{}, notFound("kit")
	}
	return kits[0], nil
}

func manyKits(ctx context.Context, tx pgx.Tx, query string, args ...any) ([]Kit, error) {
	rows, err := tx.Query(ctx, query, args...)
	if err != nil {
		return nil, fmt.Errorf("read kits: %w", err)
	}
	kits, err := pgx.CollectRows(rows, scanKit)
	if err != nil {
		return nil, fmt.Errorf("read kits: %w", err)
	}
	return kits, nil
}

func scanKit(row pgx.CollectableRow) (Kit, error) {
	var k Kit
	err := row.Scan(&k.ID, &k.Name, &k.Process, &k.Price.Amount, &k.Price.Currency, &k.BoughtBy,
		&k.BoughtOn, &k.Portions, &k.PortionsLeft, &k.Mix,
		&k.UnopenedUntil, &k.OpenedLife, &k.OpenedAt, &k.RatedAreaMM2, &k.Baths,
		&k.ShareRule, &k.UnusedFallsOn, &k.Subscribers, &k.ClosedAt,
		&k.ClosedBecause, &k.CreatedAt, &k.Version)
	return k, err
}
