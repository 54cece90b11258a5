package lab

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
)

// An Act is one line of the audit log: a request that changed something. It has
// ids and addresses alone.
type Act struct {
	ID string    `json:"id"`
	At time.Time `json:"at"`
	// Operation is the contract's operationId.
	Operation string `json:"operation"`
	// By is the member who asked; none: the setup code's owner, or somebody who was signing in.
	By *string `json:"by,omitempty"`
	// About is the member whose membership it was about, if anybody's.
	About *string `json:"about,omitempty"`
	// Object is the address asked for, below the lab's, and Made what came of it.
	Object string  `json:"object"`
	Made   *string `json:"made,omitempty"`
	// Request finds the request in the server's log.
	Request string `json:"request"`
}

const actColumns = `id, at, operation, by_member, about_member, object, made, request::text`

// Record adds to the audit log of the lab that the transaction is in; what is
// done in no lab, such as trading the setup code, has none. The act gets its ID.
func Record(ctx context.Context, tx pgx.Tx, a Act) error {
	_, err := tx.Exec(ctx, `INSERT INTO audit_log (lab_id, id, at, operation, by_member, about_member, object, made, request)
		SELECT lab, new_id('act', $1), $1, $2, $3, $4, $5, $6, $7::text::uuid
		FROM current_setting('wetside.lab', true) AS lab WHERE lab <> ''`,
		a.At, a.Operation, a.By, a.About, a.Object, a.Made, a.Request)
	if err != nil {
		return fmt.Errorf("audit log: %w", err)
	}
	return nil
}

// Acts lists a lab's audit log, the oldest first: all of it, or where member is
// not "" what that member did and what was done about their membership.
func Acts(ctx context.Context, tx pgx.Tx, labID, member string, p Page) (List[Act], error) {
	if member == "" {
		return page(ctx, tx, p, func(a Act) string { return a.ID },
			`SELECT `+actColumns+` FROM audit_log WHERE lab_id = $3 AND id > $1 ORDER BY id LIMIT $2`, labID)
	}
	return page(ctx, tx, p, func(a Act) string { return a.ID }, // each half by its own index
		`(SELECT `+actColumns+` FROM audit_log WHERE lab_id = $3 AND by_member = $4 AND id > $1 ORDER BY id LIMIT $2)
		UNION (SELECT `+actColumns+` FROM audit_log WHERE lab_id = $3 AND about_member = $4 AND id > $1 ORDER BY id LIMIT $2)
		ORDER BY id LIMIT $2`, labID, member)
}
