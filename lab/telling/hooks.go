package telling

import (
	"context"
	"errors"
	"fmt"
	"net/netip"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

// formerLife is how long a hook's former secret signs beside a new one.
const formerLife = 24 * time.Hour

// A Hook is an address that hears of what is told in a lab.
type Hook struct {
	ID  string `json:"id"`
	URL string `json:"url"`
	// Kinds are those it hears of; none named are all.
	Kinds   []Kind    `json:"kinds"`
	AddedBy string    `json:"added_by"`
	AddedAt time.Time `json:"added_at"`
	// FormerUntil is until when the secret before the last rotation signs too.
	FormerUntil *time.Time `json:"former_until,omitempty"`
	DisabledAt  *time.Time `json:"disabled_at,omitempty"`
	// DisabledBecause is why nothing is sent any more.
	DisabledBecause *string `json:"disabled_because,omitempty"`
	Version         int64   `json:"-"`

	number int
}

// Revision counts changes of the hook.
func (h Hook) Revision() int64 { return h.Version }

// A NewHook is an address to be told.
type NewHook struct {
	URL   string `json:"url"`
	Kinds []Kind `json:"kinds"`
}

// A HookSecret is a hook with its secret, which is shown this once.
type HookSecret struct {
	Hook   Hook   `json:"hook"`
	Secret string `json:"secret"`
}

// Hooks is what hooks go by.
type Hooks struct {
	// Key is the server's, of which secrets are derived.
	Key []byte
	// Anywhere lets hooks be on this machine and without TLS: for trials.
	Anywhere bool
}

const hookColumns = `id, url, kinds, added_by, added_at, former_until, disabled_at, disabled_because, version, secret_number`

func scanHook(row pgx.CollectableRow) (Hook, error) {
	var h Hook
	err := row.Scan(&h.ID, &h.URL, &h.Kinds, &h.AddedBy, &h.AddedAt, &h.FormerUntil, &h.DisabledAt, &h.DisabledBecause, &h.Version, &h.number)
	return h, err
}

// hookOf reads the hook that a query gives. It refuses with NotFound.
func hookOf(ctx context.Context, tx pgx.Tx, query string, args ...any) (Hook, error) {
	rows, err := tx.Query(ctx, query, args...)
	if err != nil {
		return Hook{}, fmt.Errorf("hook: %w", err)
	}
	h, err := pgx.CollectExactlyOneRow(rows, scanHook)
	if errors.Is(err, pgx.ErrNoRows) {
		return Hook{}, lab.Refuse(lab.NotFound, "not-found", "there is no such web hook")
	}
	if err != nil {
		return Hook{}, fmt.Errorf("hook: %w", err)
	}
	return h, nil
}

// mostHooks is how many a lab may have.
const mostHooks = 20

// Add adds a hook. It refuses with Invalid, and with Conflict
// ("too-many-hooks") where the lab has twenty.
func (c Hooks) Add(ctx context.Context, tx pgx.Tx, s lab.Scope, in NewHook) (HookSecret, error) {
	if err := c.check(in); err != nil {
		return HookSecret{}, err
	}
	if _, err := lab.Lock(ctx, tx, s.Lab.ID); err != nil { // so that the count holds
		return HookSecret{}, err
	}
	var n int
	if err := tx.QueryRow(ctx, `SELECT count(*) FROM hooks WHERE lab_id = $1`, s.Lab.ID).Scan(&n); err != nil {
		return HookSecret{}, fmt.Errorf("count hooks: %w", err)
	}
	if n >= mostHooks {
		return HookSecret{}, lab.Refuse(lab.Conflict, "too-many-hooks", "a lab has %d web hooks at most", mostHooks)
	}
	kinds := slices.Clone(in.Kinds)
	slices.Sort(kinds)
	h, err := hookOf(ctx, tx, `INSERT INTO hooks (lab_id, id, url, kinds, added_by, added_at)
		VALUES ($1, new_id('hook', $5), $2, coalesce($3::text[], '{}'), $4, $5) RETURNING `+hookColumns,
		s.Lab.ID, in.URL, slices.Compact(kinds), s.By.ID, s.Now)
	if err != nil {
		return HookSecret{}, err
	}
	return c.shown(s, h), nil
}

func (c Hooks) shown(s lab.Scope, h Hook) HookSecret {
	return HookSecret{Hook: h, Secret: secretText(hookSecret(c.Key, s.Lab.ID, h.ID, h.number))}
}

// check refuses addresses that are not to be called, and kinds that there are not.
func (c Hooks) check(in NewHook) error {
	no := lab.Refuse(lab.Invalid, "invalid", "this cannot be a web hook")
	u, err := url.Parse(in.URL)
	switch {
	case err != nil || u.Hostname() == "" || len(in.URL) > 2000 || (u.Scheme != "https" && u.Scheme != "http"):
		_ = no.With("/url", "format", "want an address such as https://example.org/wetside")
	case u.Scheme != "https" && !c.Anywhere:
		_ = no.With("/url", "https", "want https: what is told is nobody else's business")
	case u.User != nil || u.Fragment != "":
		_ = no.With("/url", "format", "want an address without user, password and fragment")
	case !c.Anywhere && inside(u.Hostname()):
		_ = no.With("/url", "not-public", "want an address of the public Internet")
	}
	for i, k := range in.Kinds {
		if _, err := wordingOf(k); err != nil {
			_ = no.With(fmt.Sprintf("/kinds/%d", i), "not-one-of", "there are no such notices")
		}
	}
	return no.OrNil()
}

// inside says at once of a host what dialing it would find out: that it is not
// of the public Internet.
func inside(host string) bool {
	if a, err := netip.ParseAddr(host); err == nil {
		return !public(a)
	}
	return !strings.Contains(strings.TrimSuffix(host, "."), ".") // localhost, or a machine next door
}

// Find reads a hook. It refuses with NotFound.
func (Hooks) Find(ctx context.Context, tx pgx.Tx, s lab.Scope, id string) (Hook, error) {
	return hookOf(ctx, tx, `SELECT `+hookColumns+` FROM hooks WHERE lab_id = $1 AND id = $2`, s.Lab.ID, id)
}

// List lists the lab's hooks, in the order in which they were added.
func (Hooks) List(ctx context.Context, tx pgx.Tx, s lab.Scope, p lab.Page) (lab.List[Hook], error) {
	rows, err := tx.Query(ctx, `SELECT `+hookColumns+` FROM hooks WHERE lab_id = $1 AND id > $2 ORDER BY id LIMIT $3`,
		s.Lab.ID, p.After, p.Limit+1)
	if err != nil {
		return lab.List[Hook]{}, fmt.Errorf("list hooks: %w", err)
	}
	items, err := pgx.CollectRows(rows, scanHook)
	if err != nil {
		return lab.List[Hook]{}, fmt.Errorf("list hooks: %w", err)
	}
	return lab.Cut(items, p, func(h Hook) string { return h.ID }), nil
}

// Rotate gives a hook a new secret. The one before signs beside it for a day of
// real time from clock, so that the receiver can take the new one over.
func (c Hooks) Rotate(ctx context.Context, tx pgx.Tx, s lab.Scope, id string, clock time.Time) (HookSecret, error) {
	h, err := hookOf(ctx, tx, `UPDATE hooks SET secret_number = secret_number + 1, former_until = $3, version = version + 1
		WHERE lab_id = $1 AND id = $2 RETURNING `+hookColumns, s.Lab.ID, id, clock.Add(formerLife))
	if err != nil {
		return HookSecret{}, err
	}
	return c.shown(s, h), nil
}

// Enable has a hook told again that was switched off.
func (Hooks) Enable(ctx context.Context, tx pgx.Tx, s lab.Scope, id string) (Hook, error) {
	return hookOf(ctx, tx, `UPDATE hooks SET disabled_at = NULL, disabled_because = NULL, version = version + 1
		WHERE lab_id = $1 AND id = $2 RETURNING `+hookColumns, s.Lab.ID, id)
}

// Remove removes a hook of the revision given, with its log. It refuses with
// NotFound, and with Stale if the hook has changed.
func (c Hooks) Remove(ctx context.Context, tx pgx.Tx, s lab.Scope, id string, version int64) error {
	tag, err := tx.Exec(ctx, `DELETE FROM hooks WHERE lab_id = $1 AND id = $2 AND version = $3`, s.Lab.ID, id, version)
	if err != nil {
		return fmt.Errorf("remove hook: %w", err)
	}
	if tag.RowsAffected() == 0 {
		if _, err := c.Find(ctx, tx, s, id); err != nil {
			return err
		}
		return lab.Refuse(lab.Stale, "stale", "the web hook has changed since you read it")
	}
	return nil
}
