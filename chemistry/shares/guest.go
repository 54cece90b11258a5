package shares

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

// A Guest is a person in the books who is no member: their rolls are handed in
// for them, they are charged like anybody and never sign in. Their host is the
// member who answers for them.
type Guest struct {
	ID      string    `json:"id"`
	Name    string    `json:"name"`
	Host    string    `json:"host"`
	AddedAt time.Time `json:"added_at"`
}

// A NewGuest is a guest as their host, or the steward, brings them in.
type NewGuest struct {
	Name string `json:"name"`
	Host string `json:"host"`
}

// AddGuest adds a guest to the books. The host is who asks unless given. It
// refuses with Invalid, "member-left", and Forbidden where a member names another host.
func AddGuest(ctx context.Context, tx pgx.Tx, s lab.Scope, in NewGuest) (Guest, error) {
	if in.Host == "" {
		in.Host = s.By.ID
	}
	if in.Host != s.By.ID && !s.By.Has(lab.RoleSteward, lab.RoleTreasurer) {
		return Guest{}, lab.Refuse(lab.Forbidden, "forbidden", "members bring their own guests")
	}
	if err := refuseParty(ctx, tx, s.Lab.ID, "/host", in.Host); err != nil {
		return Guest{}, err
	}
	m, err := lab.AddGuest(ctx, tx, s, in.Name, in.Host)
	if err != nil {
		return Guest{}, err
	}
	return guestOf(m), nil
}

func guestOf(m lab.Member) Guest {
	return Guest{ID: m.ID, Name: m.Name, Host: *m.GuestOf, AddedAt: m.JoinedAt}
}

// ListGuests reads the guests, oldest first.
func ListGuests(ctx context.Context, tx pgx.Tx, labID string, p lab.Page) (lab.List[Guest], error) {
	found, err := lab.Guests(ctx, tx, labID, p)
	out := lab.List[Guest]{Items: []Guest{}, NextCursor: found.NextCursor}
	for _, m := range found.Items {
		out.Items = append(out.Items, guestOf(m))
	}
	return out, err
}

// Leave has a member leave the lab, whose account must be even by then. What is
// charged to them later, for film that is still in the lab, stays in the
// settlement, and the treasurer answers for it. It refuses with NotFound,
// "member-left", "member-has-balance" and "last-keeper".
func Leave(ctx context.Context, tx pgx.Tx, s lab.Scope, member string) (lab.Member, error) {
	if _, err := lab.Lock(ctx, tx, s.Lab.ID); err != nil {
		return lab.Member{}, err
	}
	m, err := lab.FindMember(ctx, tx, s.Lab.ID, member)
	if err != nil {
		return lab.Member{}, err
	}
	if m.LeftAt != nil {
		return lab.Member{}, lab.Refuse(lab.Conflict, "member-left", "this member has left the lab")
	}
	if err := Even(ctx, tx, s, member); err != nil {
		return lab.Member{}, err
	}
	return lab.Leave(ctx, tx, s, member)
}

// Even refuses with "member-has-balance" unless a member owes nothing, is owed
// nothing, and has no payment waiting.
func Even(ctx context.Context, tx pgx.Tx, s lab.Scope, member string) error {
	var balance, pending int64
	err := tx.QueryRow(ctx, `
		SELECT coalesce((SELECT sum(amount_minor) FROM postings WHERE lab_id = $1 AND account = 'member' AND member_id = $2), 0)::bigint,
			(SELECT count(*) FROM payments WHERE lab_id = $1 AND $2 IN (payer, payee) AND state = 'recorded')`,
		s.Lab.ID, member).Scan(&balance, &pending)
	switch {
	case err != nil:
		return fmt.Errorf("balance of member: %w", err)
	case balance > 0:
		return lab.Refuse(lab.Conflict, "member-has-balance", "the member still owes %d minor units: settle first", balance)
	case balance < 0:
		return lab.Refuse(lab.Conflict, "member-has-balance", "the member is still owed %d minor units: settle first", -balance)
	case pending > 0:
		return lab.Refuse(lab.Conflict, "member-has-balance", "%d payments of the member wait to be confirmed", pending)
	}
	return nil
}
