package lab

import (
	"context"
	"fmt"
	"regexp"

	"github.com/jackc/pgx/v5"

	"wetside/lab/units"
)

// A ReelKind is reels of one kind and how many of them the lab has.
type ReelKind struct {
	// Code is what formats name the reel by that takes them, such as spiral-35.
	Code  string `json:"code"`
	Name  string `json:"name"`
	Count int64  `json:"count"`
	// Holds is how many rolls go on one reel.
	Holds int64 `json:"holds"`
	// HeightMM is how much of a tank's stack one reel takes.
	HeightMM int64 `json:"height_mm"`
	// SolutionML is what covers one reel.
	SolutionML int64 `json:"solution_ml"`
	// Loading is what it takes to load one reel, in the dark.
	Loading units.Duration `json:"loading"`
	// Drying is how long a reel stays wet after a run: a wet one cannot be loaded.
	Drying units.Duration `json:"drying"`
	// LongestMM is the longest film that goes on one; nil is any.
	LongestMM *int64 `json:"longest_mm,omitempty"`
	Version   int64  `json:"-"`
}

const reelKindColumns = `code, name, count, holds, height_mm, solution_ml, loading_s, drying_s, longest_mm, version`

// Revision counts changes of the reel kind's record.
func (k ReelKind) Revision() int64 { return k.Version }

var codePattern = regexp.MustCompile(`^[a-z0-9][a-z0-9-]{0,39}$`)

// A NewReelKind is reels to be put in stock; one reel holds one roll, and
// needs no time to load or dry, unless it says so.
type NewReelKind struct {
	Code       string         `json:"code"`
	Name       string         `json:"name"`
	Count      int64          `json:"count"`
	Holds      *int64         `json:"holds"`
	HeightMM   int64          `json:"height_mm"`
	SolutionML int64          `json:"solution_ml"`
	Loading    units.Duration `json:"loading"`
	Drying     units.Duration `json:"drying"`
	LongestMM  *int64         `json:"longest_mm"`
}

// check refuses with Invalid what no reel can be.
func (k NewReelKind) check() error {
	r := Refuse(Invalid, "invalid", "there can be no such reel")
	checkName(r, "/name", k.Name)
	if !codePattern.MatchString(k.Code) {
		r.With("/code", "pattern", "want lower-case letters, digits and hyphens, such as spiral-35")
	}
	checkRange(r, "/count", k.Count, 0, 1000)
	checkRange(r, "/holds", or(k.Holds, 1), 1, 100)
	checkRange(r, "/height_mm", k.HeightMM, 1, 10_000)
	checkRange(r, "/solution_ml", k.SolutionML, 1, 1_000_000)
	checkSpan(r, "/loading", k.Loading, 0)
	checkSpan(r, "/drying", k.Drying, 0)
	checkRange(r, "/longest_mm", or(k.LongestMM, 1), 1, 1_000_000)
	return r.OrNil()
}

func checkRange(r *Refusal, pointer string, v, least, most int64) {
	if v < least || v > most {
		r.With(pointer, "out-of-range", "want %d to %d", least, most)
	}
}

// checkSpan notes a fault unless d lies between least and a week.
func checkSpan(r *Refusal, pointer string, d, least units.Duration) {
	if d < least || d > 7*units.Day {
		r.With(pointer, "out-of-range", "want %s to %s", least, 7*units.Day)
	}
}

// AddReelKind adds a kind of reels. It refuses with Invalid, and with Conflict
// ("name-taken") if the lab has one of that code.
func AddReelKind(ctx context.Context, tx pgx.Tx, s Scope, in NewReelKind) (ReelKind, error) {
	if err := in.check(); err != nil {
		return ReelKind{}, err
	}
	if err := Touch(ctx, tx, s.Lab.ID); err != nil {
		return ReelKind{}, err
	}
	k, err := one[ReelKind](ctx, tx, `INSERT INTO reel_kinds
			(lab_id, code, name, count, holds, height_mm, solution_ml, loading_s, drying_s, longest_mm)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)
		RETURNING `+reelKindColumns, s.Lab.ID, in.Code, in.Name, in.Count, or(in.Holds, 1),
		in.HeightMM, in.SolutionML, in.Loading, in.Drying, in.LongestMM)
	if Violates(err, UniqueViolation, "reel_kinds_pkey") {
		return ReelKind{}, errTaken("/code", "reel kind")
	}
	if err != nil {
		return ReelKind{}, fmt.Errorf("add reel kind: %w", err)
	}
	return k, nil
}

// ReelKinds lists a lab's reels by their codes.
func ReelKinds(ctx context.Context, tx pgx.Tx, labID string, p Page) (List[ReelKind], error) {
	return page(ctx, tx, p, func(k ReelKind) string { return k.Code },
		`SELECT `+reelKindColumns+` FROM reel_kinds
		WHERE lab_id = $3 AND code > $1 ORDER BY code LIMIT $2`, labID)
}

func errTaken(pointer, what string) error {
	return Refuse(Conflict, "name-taken", "the lab has a %s of that name", what).
		With(pointer, "name-taken", "take another")
}
