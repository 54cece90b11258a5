package lab

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
)

// A Certification is the steward's word that a member may run a tank alone.
type Certification struct {
	Member      string    `json:"member"`
	Tank        string    `json:"tank"`
	CertifiedBy string    `json:"certified_by"`
	CertifiedAt time.Time `json:"certified_at"`
}

const certificationColumns = `member_id, tank_id, certified_by, certified_at`

// Certified says whether a member, who has not left, may run a tank alone.
func Certified(ctx context.Context, tx pgx.Tx, s Scope, member, tank string) (yes bool, err error) {
	err = tx.QueryRow(ctx, `SELECT EXISTS (SELECT FROM tank_certifications c
			JOIN members m ON m.lab_id = c.lab_id AND m.id = c.member_id
		WHERE c.lab_id = $1 AND c.member_id = $2 AND c.tank_id = $3 AND m.left_at IS NULL)`,
		s.Lab.ID, member, tank).Scan(&yes)
	if err != nil {
		return false, fmt.Errorf("look for certification: %w", err)
	}
	return yes, nil
}

// Certify lets a member run a tank alone; once more changes nothing. It refuses
// with NotFound, and with Conflict ("guest": a guest runs nothing).
func Certify(ctx context.Context, tx pgx.Tx, s Scope, member, tank string) (Certification, error) {
	m, err := PresentMember(ctx, tx, s.Lab.ID, member)
	if err != nil {
		return Certification{}, err
	}
	if m.GuestOf != nil {
		return Certification{}, Refuse(Conflict, "guest", "guests do not run tanks; their host answers for them")
	}
	if _, err := FindTank(ctx, tx, s.Lab.ID, tank); err != nil {
		return Certification{}, err
	}
	_, err = tx.Exec(ctx, `INSERT INTO tank_certifications (lab_id, `+certificationColumns+`) VALUES ($1, $2, $3, $4, $5)
		ON CONFLICT DO NOTHING`, s.Lab.ID, member, tank, s.By.ID, s.Now)
	if err != nil {
		return Certification{}, fmt.Errorf("certify: %w", err)
	}
	return find[Certification](ctx, tx, "certification", `SELECT `+certificationColumns+` FROM tank_certifications
		WHERE lab_id = $1 AND member_id = $2 AND tank_id = $3`, s.Lab.ID, member, tank)
}

// Decertify takes a certification back; sessions that the member has booked
// already stay theirs. It refuses with NotFound.
func Decertify(ctx context.Context, tx pgx.Tx, s Scope, member, tank string) error {
	tag, err := tx.Exec(ctx, `DELETE FROM tank_certifications WHERE lab_id = $1 AND member_id = $2 AND tank_id = $3`,
		s.Lab.ID, member, tank)
	if err != nil {
		return fmt.Errorf("take certification back: %w", err)
	}
	if tag.RowsAffected() == 0 {
		return Refuse(NotFound, "not-found", "there is no such certification")
	}
	return nil
}

// Certifications lists the tanks that a member may run alone.
func Certifications(ctx context.Context, tx pgx.Tx, labID, member string, p Page) (List[Certification], error) {
	return page(ctx, tx, p, func(c Certification) string { return c.Tank },
		`SELECT `+certificationColumns+` FROM tank_certifications
		WHERE lab_id = $3 AND member_id = $4 AND tank_id > $1 ORDER BY tank_id LIMIT $2`, labID, member)
}
