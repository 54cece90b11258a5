package shares

import (
	"context"
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

// MoneyRules are what a lab rules for all its kits and runs.
type MoneyRules struct {
	// SpoiledFallsOn is copied onto each kit when it is entered; those on the
	// shelf keep theirs.
	SpoiledFallsOn SpoiledFallsOn `json:"spoiled_falls_on"`
	// SurchargeMinor is what each finished run costs beside its chemistry (water,
	// power, wear), for the fund, from now on.
	SurchargeMinor int64 `json:"surcharge_minor"`
	Version        int64 `json:"-"`
}

// Revision counts the changes of the rules.
func (r MoneyRules) Revision() int64 { return r.Version }

// A MoneyRulesChange is what the treasurer changes of them; nil leaves a field as it is.
type MoneyRulesChange struct {
	SpoiledFallsOn *SpoiledFallsOn `json:"spoiled_falls_on"`
	SurchargeMinor *Amount         `json:"surcharge_minor"`
}

// ReadMoneyRules reads a lab's rules. Unless it has ruled otherwise, spoiled
// runs fall with the unused part and there is no surcharge.
func ReadMoneyRules(ctx context.Context, tx pgx.Tx, labID string) (MoneyRules, error) {
	r := MoneyRules{SpoiledFallsOn: AsUnused, Version: 1}
	err := tx.QueryRow(ctx, `SELECT spoiled_falls_on, surcharge_minor, version FROM money_rules WHERE lab_id = $1`, labID).
		Scan(&r.SpoiledFallsOn, &r.SurchargeMinor, &r.Version)
	if err != nil && !errors.Is(err, pgx.ErrNoRows) {
		return MoneyRules{}, fmt.Errorf("read money rules: %w", err)
	}
	return r, nil
}

// ChangeMoneyRules changes a lab's rules, of which the caller has seen the
// given version. It refuses with Invalid, "amount-too-large" and Stale.
func ChangeMoneyRules(ctx context.Context, tx pgx.Tx, s lab.Scope, version int64, in MoneyRulesChange) (MoneyRules, error) {
	if _, err := lab.Lock(ctx, tx, s.Lab.ID); err != nil {
		return MoneyRules{}, err
	}
	r, err := ReadMoneyRules(ctx, tx, s.Lab.ID)
	if err != nil {
		return MoneyRules{}, err
	}
	if r.Version != version {
		return MoneyRules{}, lab.Refuse(lab.Stale, "stale", "the rules have changed since you read them; read them again")
	}
	if in.SpoiledFallsOn != nil {
		r.SpoiledFallsOn = *in.SpoiledFallsOn
	}
	if in.SurchargeMinor != nil {
		if *in.SurchargeMinor != 0 {
			if err := in.SurchargeMinor.check("/surcharge_minor"); err != nil {
				return MoneyRules{}, err
			}
		}
		r.SurchargeMinor = int64(*in.SurchargeMinor)
	}
	_, err = tx.Exec(ctx, `
		INSERT INTO money_rules (lab_id, spoiled_falls_on, surcharge_minor, version) VALUES ($1, $2, $3, $4)
		ON CONFLICT (lab_id) DO UPDATE SET spoiled_falls_on = $2, surcharge_minor = $3, version = $4`,
		s.Lab.ID, r.SpoiledFallsOn, r.SurchargeMinor, r.Version+1)
	if err != nil {
		return MoneyRules{}, fmt.Errorf("change money rules: %w", err)
	}
	return ReadMoneyRules(ctx, tx, s.Lab.ID)
}
