package scheduling

import (
	"context"
	"slices"

	"github.com/jackc/pgx/v5"

	"wetside/chemistry"
	"wetside/chemistry/shares"
	"wetside/lab"
)

// EstimateCost says what rolls of one member would cost in one run on a kit,
// before they are booked: unless given, on the kit for their process that is
// open already, or must be mixed soonest. It refuses with NotFound, Invalid for
// rolls of several members or processes, and "kit-closed".
func EstimateCost(ctx context.Context, tx pgx.Tx, s lab.Scope, kitID string, rollIDs []string) (shares.Estimate, error) {
	var rolls []Roll
	for _, id := range rollIDs {
		r, err := FindRoll(ctx, tx, s, id)
		if err != nil {
			return shares.Estimate{}, err
		}
		rolls = append(rolls, r)
	}
	no := lab.Refuse(lab.Invalid, "invalid", "these rolls have no one price")
	uses := []shares.RollUse{}
	for _, r := range rolls {
		if r.Member != rolls[0].Member || r.Process != rolls[0].Process {
			no.Faults = append(no.Faults, lab.Fault{Parameter: "roll", Code: "mixed", Detail: "want rolls of one member for one process"})
			return shares.Estimate{}, no
		}
		uses = append(uses, shares.RollUse{Roll: r.ID, Member: r.Member, AreaMM2: r.Area.Counted()})
	}
	if kitID == "" {
		kit, err := kitFor(ctx, tx, s, rolls[0].Process)
		if err != nil {
			return shares.Estimate{}, err
		}
		kitID = kit
	}
	return shares.EstimateRolls(ctx, tx, s, kitID, rolls[0].Member, uses)
}

// kitFor is the kit that film of a process would run on now.
func kitFor(ctx context.Context, tx pgx.Tx, s lab.Scope, process string) (string, error) {
	open, err := chemistry.KitsInUse(ctx, tx, s.Lab.ID, process)
	if err != nil {
		return "", err
	}
	if len(open) > 0 {
		return open[0].ID, nil
	}
	shelf, err := chemistry.KitsOnShelf(ctx, tx, s.Lab.ID, s.Now)
	if err != nil {
		return "", err
	}
	at := slices.IndexFunc(shelf, func(k chemistry.Kit) bool { return k.Process == process })
	if at < 0 {
		return "", lab.Refuse(lab.NotFound, "not-found", "the lab has no kit for %s now", process)
	}
	return shelf[at].ID, nil
}
