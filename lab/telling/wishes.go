package telling

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

// A Wish is by which ways a member wants to hear of a kind of notices.
type Wish struct {
	Kind Kind `json:"kind"`
	// Title is how such notices begin, so that people can tell them.
	Title   string `json:"title"`
	Message bool   `json:"message"`
	Mail    bool   `json:"mail"`
}

// WishChange is a member's choice.
type WishChange struct {
	Message bool `json:"message"`
	Mail    bool `json:"mail"`
}

// Wishes are the scope's member's, for every kind of notice.
func Wishes(ctx context.Context, tx pgx.Tx, s lab.Scope) (lab.List[Wish], error) {
	rows, err := tx.Query(ctx, `SELECT kind, message, mail FROM notice_wishes WHERE lab_id = $1 AND member_id = $2`, s.Lab.ID, s.By.ID)
	if err != nil {
		return lab.List[Wish]{}, fmt.Errorf("read wishes: %w", err)
	}
	chosen := map[Kind]WishChange{}
	var kind Kind
	var c WishChange
	if _, err := pgx.ForEachRow(rows, []any{&kind, &c.Message, &c.Mail}, func() error { chosen[kind] = c; return nil }); err != nil {
		return lab.List[Wish]{}, fmt.Errorf("read wishes: %w", err)
	}
	var all lab.List[Wish]
	for _, t := range wording {
		c, ok := chosen[t.kind]
		if !ok {
			c = WishChange{Message: true, Mail: t.mail}
		}
		all.Items = append(all.Items, Wish{t.kind, t.title, c.Message, c.Mail})
	}
	return all, nil
}

// Choose keeps the scope's member's choice for a kind of notices. It refuses
// with NotFound, and with Invalid where nothing would be left of a notice that
// guards their sign-in.
func Choose(ctx context.Context, tx pgx.Tx, s lab.Scope, kind Kind, c WishChange) (Wish, error) {
	t, err := wordingOf(kind)
	if err != nil {
		return Wish{}, lab.Refuse(lab.NotFound, "not-found", "there are no such notices")
	}
	if kind == SignInChanged && !c.Message && !c.Mail {
		return Wish{}, lab.Refuse(lab.Invalid, "invalid", "somebody else's sign-in in your name must not go unseen").
			With("/message", "required", "keep one of the two ways")
	}
	_, err = tx.Exec(ctx, `INSERT INTO notice_wishes (lab_id, member_id, kind, message, mail) VALUES ($1, $2, $3, $4, $5)
		ON CONFLICT (lab_id, member_id, kind) DO UPDATE SET message = excluded.message, mail = excluded.mail`,
		s.Lab.ID, s.By.ID, kind, c.Message, c.Mail)
	if err != nil {
		return Wish{}, fmt.Errorf("keep wish: %w", err)
	}
	return Wish{kind, t.title, c.Message, c.Mail}, nil
}
