package chemistry

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

// Formats are the lab's formats: the built-in ones, then its own by code.
func Formats(ctx context.Context, tx pgx.Tx, labID string) ([]Format, error) {
	rows, err := tx.Query(ctx, `SELECT definition FROM formats WHERE lab_id = $1 ORDER BY code`, labID)
	if err != nil {
		return nil, fmt.Errorf("list formats: %w", err)
	}
	own, err := pgx.CollectRows(rows, pgx.RowTo[Format])
	if err != nil {
		return nil, fmt.Errorf("list formats: %w", err)
	}
	return append(BuiltInFormats(), own...), nil
}

// FindFormat reads one of the lab's formats. It refuses with NotFound.
func FindFormat(ctx context.Context, tx pgx.Tx, labID, code string) (Format, error) {
	all, err := Formats(ctx, tx, labID)
	if err != nil {
		return Format{}, err
	}
	f, ok := indexOf(all, func(f Format) bool { return f.Code == code })
	if !ok {
		return Format{}, notFound("format")
	}
	return f, nil
}

// AddFormat adds a format of the lab's own. It refuses with invalid, and with
// format-exists where the lab has one of the code: what rolls were measured by
// does not change under them.
func AddFormat(ctx context.Context, tx pgx.Tx, s lab.Scope, f Format) (Format, error) {
	if err := refuseFaults("", f.Validate()...); err != nil {
		return Format{}, err
	}
	exists := lab.Refuse(lab.Conflict, "format-exists", "the lab has a format %q", f.Code)
	if _, taken := indexOf(builtInFormats, func(b Format) bool { return b.Code == f.Code }); taken {
		return Format{}, exists
	}
	tag, err := tx.Exec(ctx, `
		INSERT INTO formats (lab_id, code, definition, created_at)
		VALUES ($1, $2, $3, $4)
		ON CONFLICT ON CONSTRAINT formats_pkey DO NOTHING`,
		s.Lab.ID, f.Code, f, s.Now)
	if err != nil {
		return Format{}, fmt.Errorf("add format: %w", err)
	}
	if tag.RowsAffected() == 0 {
		return Format{}, exists
	}
	return f, nil
}
