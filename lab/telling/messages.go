package telling

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

// A Message is a notice as a member finds it in the program.
type Message struct {
	ID   string `json:"id"`
	Kind Kind   `json:"kind"`
	// About is the id of what it is about, if there is such a thing.
	About  *string    `json:"about,omitempty"`
	Title  string     `json:"title"`
	Text   string     `json:"text"`
	SentAt time.Time  `json:"sent_at"`
	ReadAt *time.Time `json:"read_at,omitempty"`
}

const messageColumns = `id, kind, about, title, text, sent_at, read_at`

// Messages lists the scope's member's messages: the unread first, and of each
// the newest first. What is read while pages are turned moves to the end and is
// never skipped.
func Messages(ctx context.Context, tx pgx.Tx, s lab.Scope, p lab.Page) (lab.List[Message], error) {
	// The key is whether the last one was read, and its id.
	state, id, _ := strings.Cut(p.After, " ")
	rows, err := tx.Query(ctx, `SELECT `+messageColumns+` FROM messages
		WHERE lab_id = $1 AND member_id = $2
			AND ($3 = '' OR (read_at IS NOT NULL) > ($3 = 'read') OR (read_at IS NOT NULL) = ($3 = 'read') AND id < $4)
		ORDER BY (read_at IS NOT NULL), id DESC LIMIT $5`, s.Lab.ID, s.By.ID, state, id, p.Limit+1)
	if err != nil {
		return lab.List[Message]{}, fmt.Errorf("list messages: %w", err)
	}
	items, err := pgx.CollectRows(rows, pgx.RowToStructByPos[Message])
	if err != nil {
		return lab.List[Message]{}, fmt.Errorf("list messages: %w", err)
	}
	return lab.Cut(items, p, func(m Message) string {
		if m.ReadAt != nil {
			return "read " + m.ID
		}
		return "unread " + m.ID
	}), nil
}

// MarkRead notes that the scope's member has read one of their messages. It
// refuses with NotFound. Once read, a message stays as it is.
func MarkRead(ctx context.Context, tx pgx.Tx, s lab.Scope, id string) (Message, error) {
	rows, err := tx.Query(ctx, `UPDATE messages SET read_at = coalesce(read_at, $4)
		WHERE lab_id = $1 AND member_id = $2 AND id = $3 RETURNING `+messageColumns, s.Lab.ID, s.By.ID, id, s.Now)
	if err != nil {
		return Message{}, fmt.Errorf("mark read: %w", err)
	}
	m, err := pgx.CollectExactlyOneRow(rows, pgx.RowToStructByPos[Message])
	if errors.Is(err, pgx.ErrNoRows) {
		return Message{}, lab.Refuse(lab.NotFound, "not-found", "there is no such message")
	}
	if err != nil {
		return Message{}, fmt.Errorf("mark read: %w", err)
	}
	return m, nil
}

// ReadUpTo names the newest message that a member has seen.
type ReadUpTo struct {
	Message string `json:"message"`
}

// MarkedRead is how many messages were marked.
type MarkedRead struct {
	Count int64 `json:"count"`
}

// MarkReadUpTo notes that the scope's member has read a message and all before it.
func MarkReadUpTo(ctx context.Context, tx pgx.Tx, s lab.Scope, in ReadUpTo) (MarkedRead, error) {
	tag, err := tx.Exec(ctx, `UPDATE messages SET read_at = $4
		WHERE lab_id = $1 AND member_id = $2 AND id <= $3 AND read_at IS NULL`, s.Lab.ID, s.By.ID, in.Message, s.Now)
	if err != nil {
		return MarkedRead{}, fmt.Errorf("mark read: %w", err)
	}
	return MarkedRead{Count: tag.RowsAffected()}, nil
}
