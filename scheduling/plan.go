package scheduling

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/lab/units"
	"wetside/scheduling/planner"
	"wetside/scheduling/planner/checker"
)

// A Plan is a proposed set of batches for a span of days.
type Plan struct {
	ID    string    `json:"id"`
	State PlanState `json:"state"`
	// Stale says that something it was computed from has changed since: it
	// can no longer be committed.
	Stale           bool       `json:"stale"`
	ScheduleVersion int64      `json:"schedule_version"`
	MadeBy          string     `json:"made_by"`
	MadeAt          time.Time  `json:"made_at"`
	CommittedAt     *time.Time `json:"committed_at,omitempty"`
	// Replaces are the planned batches whose rolls it plans anew: committing it cancels them.
	Replaces []string         `json:"replaces"`
	Problem  *planner.Problem `json:"problem"`
	planner.Plan
	Version int64 `json:"-"`
}

// Revision is the plan's version, for conditional requests.
func (p Plan) Revision() int64 { return p.Version }

// A PlanState is how far a plan has come.
type PlanState string

// The states of a plan. Committing one supersedes all other drafts.
const (
	Draft      PlanState = "draft"
	Committed  PlanState = "committed"
	Superseded PlanState = "superseded"
)

// NewPlan asks for a plan of [From, Until).
type NewPlan struct {
	From  time.Time `json:"from"`
	Until time.Time `json:"until"`
	Seed  int64     `json:"seed,omitempty"`
	// Budget is the most time to take; the planner's own when 0.
	Budget units.Duration `json:"budget,omitempty"`
	// Iterations is the most improvement steps; the planner chooses by size when 0.
	Iterations int64 `json:"iterations,omitempty"`
	// Replan takes the batches of the span that are planned and have not begun
	// apart and batches their rolls anew, each in the session it was in; without
	// it they stand.
	Replan bool `json:"replan,omitempty"`
	// Repair takes only those batches apart that cannot be run as they are,
	// since a tank, cabinet, bath or kit is gone: so a breakdown changes least.
	Repair bool `json:"repair,omitempty"`
	// Progress, unless nil, is told how the search goes.
	Progress func(planner.Progress) `json:"-"`
}

// The bounds of a plan's span and of the time spent on it.
const (
	longestPlan    = 35 * 24 * time.Hour
	longestBudget  = 30 * units.Second
	mostIterations = 100_000_000
)

// MakePlan plans the rolls on the shelf over a span and stores the draft,
// judged by the checker. It refuses a span that is over, empty or beyond five
// weeks.
func MakePlan(ctx context.Context, tx pgx.Tx, s lab.Scope, in NewPlan) (Plan, error) {
	if err := in.check(s); err != nil {
		return Plan{}, err
	}
	if err := planAlone(ctx, tx, s); err != nil {
		return Plan{}, err
	}
	version, sh, problem, replaces, err := readProblem(ctx, tx, s, in)
	if err != nil {
		return Plan{}, err
	}
	problem, plan, err := sh.solveWeek(ctx, in, problem)
	if err != nil {
		return Plan{}, err
	}
	for i := range problem.Sessions {
		w := &problem.Sessions[i].Window
		w.Start, w.End = w.Start.UTC(), w.End.UTC() // as all answers are
	}
	problemJSON, err := json.Marshal(problem)
	if err != nil {
		return Plan{}, fmt.Errorf("store problem: %w", err)
	}
	planJSON, err := json.Marshal(plan)
	if err != nil {
		return Plan{}, fmt.Errorf("store plan: %w", err)
	}
	var id string
	err = tx.QueryRow(ctx, `
		INSERT INTO plans (lab_id, id, problem, plan, replaces, schedule_version, made_by, made_at)
		VALUES ($1, new_id('plan', $2), $3, $4, $5, $6, $7, $2) RETURNING id`,
		s.Lab.ID, s.Now, problemJSON, planJSON, nonNil(replaces), version, s.By.ID).Scan(&id)
	if err != nil {
		return Plan{}, fmt.Errorf("store plan: %w", err)
	}
	return FindPlan(ctx, tx, s.Lab.ID, id)
}

// check refuses spans and limits that make no sense.
func (in NewPlan) check(s lab.Scope) error {
	no := lab.Refuse(lab.Invalid, "invalid", "there is nothing to plan in that span")
	if !in.Until.After(in.From) || in.Until.Sub(in.From) > longestPlan {
		_ = no.With("/until", "out-of-range", "want an end after the start, at most five weeks later")
	} else if !in.Until.After(s.Now.Add(time.Second)) {
		_ = no.With("/until", "over", "the span is over")
	}
	if in.Budget < 0 || in.Budget > longestBudget {
		_ = no.With("/budget", "out-of-range", "want at most %s", longestBudget)
	}
	if in.Iterations < 0 || in.Iterations > mostIterations {
		_ = no.With("/iterations", "out-of-range", "want at most %d", mostIterations)
	}
	return no.OrNil()
}

// planAlone keeps others from planning for the lab, on any server, until the
// transaction ends. It refuses with Conflict ("plan-under-way") where one does.
func planAlone(ctx context.Context, tx pgx.Tx, s lab.Scope) error {
	var alone bool
	err := tx.QueryRow(ctx, `SELECT pg_try_advisory_xact_lock(hashtextextended($1, 0))`, "plan of "+s.Lab.ID).Scan(&alone)
	if err != nil {
		return fmt.Errorf("plan alone: %w", err)
	}
	if !alone {
		return lab.Refuse(lab.Conflict, "plan-under-way", "a plan of this lab is being made; wait for it")
	}
	return nil
}

// readProblem reads the lab and makes the problem, without locking it: should
// the lab change meanwhile, it reads again, so that the problem is of one version.
func readProblem(ctx context.Context, tx pgx.Tx, s lab.Scope, in NewPlan) (version int64, sh *shop, p *planner.Problem, replaces []string, err error) {
	for range 5 {
		then, err := lab.Find(ctx, tx, s.Lab.ID)
		if err != nil {
			return 0, nil, nil, nil, err
		}
		sh, err := readShop(ctx, tx, s)
		if err != nil {
			return 0, nil, nil, nil, err
		}
		var released []planner.Batch
		if in.Replan || in.Repair {
			sh, released = sh.release(in.From, in.Until, in.Replan)
		}
		problem, err := sh.week(ctx, in, false)
		if err != nil {
			return 0, nil, nil, nil, err
		}
		before, err := previous(ctx, tx, s.Lab.ID, problem.Rolls)
		if err != nil {
			return 0, nil, nil, nil, err
		}
		problem.Previous = stood(before, released, problem.Rolls)
		now, err := lab.Find(ctx, tx, s.Lab.ID)
		if err != nil {
			return 0, nil, nil, nil, err
		}
		if then.ScheduleVersion == now.ScheduleVersion {
			return now.ScheduleVersion, sh, problem, ids(released), nil
		}
	}
	return 0, nil, nil, nil, lab.Refuse(lab.Unavailable, "busy", "the lab is changing too fast to plan; try again")
}

// previous is where the newest plan had the rolls.
func previous(ctx context.Context, tx pgx.Tx, labID string, rolls []planner.Roll) ([]planner.Hold, error) {
	var stored json.RawMessage
	err := tx.QueryRow(ctx, `SELECT plan FROM plans WHERE lab_id = $1 AND superseded_at IS NULL ORDER BY id DESC LIMIT 1`, labID).Scan(&stored)
	if errors.Is(err, pgx.ErrNoRows) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("read the plan before: %w", err)
	}
	var plan planner.Plan
	if err := json.Unmarshal(stored, &plan); err != nil {
		return nil, fmt.Errorf("read the plan before: %w", err)
	}
	var out []planner.Hold
	for _, b := range plan.Batches {
		for _, pl := range b.Rolls {
			if slices.ContainsFunc(rolls, func(r planner.Roll) bool { return r.ID == pl.Roll }) {
				out = append(out, planner.Hold{Roll: pl.Roll, Session: b.Session})
			}
		}
	}
	return out, nil
}

// judge has the independent checker look at a plan. What it finds is our
// mistake, not the caller's.
func judge(p *planner.Problem, plan *planner.Plan) error {
	if broken := checker.Check(p, plan); len(broken) > 0 {
		return fmt.Errorf("plan breaks %d rules, first: %s", len(broken), broken[0])
	}
	return nil
}

const planColumns = `p.id, p.problem, p.plan, p.replaces, p.schedule_version, l.schedule_version, p.made_by, p.made_at,
	p.committed_at, p.superseded_at, p.version`

func queryPlans(ctx context.Context, tx pgx.Tx, query string, args ...any) ([]Plan, error) {
	rows, err := tx.Query(ctx, query, args...)
	if err != nil {
		return nil, fmt.Errorf("read plans: %w", err)
	}
	plans, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (Plan, error) {
		p := Plan{State: Draft, Problem: &planner.Problem{}}
		var now int64
		var superseded *time.Time
		err := row.Scan(&p.ID, p.Problem, &p.Plan, &p.Replaces, &p.ScheduleVersion, &now, &p.MadeBy, &p.MadeAt, &p.CommittedAt, &superseded, &p.Version)
		switch {
		case p.CommittedAt != nil:
			p.State = Committed
		case superseded != nil:
			p.State = Superseded
		default:
			p.Stale = now != p.ScheduleVersion
		}
		return p, err
	})
	if err != nil {
		return nil, fmt.Errorf("read plans: %w", err)
	}
	return plans, nil
}

// FindPlan reads a plan. It refuses with NotFound.
func FindPlan(ctx context.Context, tx pgx.Tx, labID, id string) (Plan, error) {
	plans, err := queryPlans(ctx, tx, `
		SELECT `+planColumns+` FROM plans p JOIN labs l ON l.id = p.lab_id WHERE p.lab_id = $1 AND p.id = $2`, labID, id)
	if err != nil {
		return Plan{}, err
	}
	if len(plans) == 0 {
		return Plan{}, lab.Refuse(lab.NotFound, "not-found", "there is no such plan")
	}
	return plans[0], nil
}

// ListPlans reads the plans, oldest first.
func ListPlans(ctx context.Context, tx pgx.Tx, labID string, p lab.Page) (lab.List[Plan], error) {
	plans, err := queryPlans(ctx, tx, `
		SELECT `+planColumns+` FROM plans p JOIN labs l ON l.id = p.lab_id
		WHERE p.lab_id = $1 AND p.id > $2 ORDER BY p.id LIMIT $3`, labID, p.After, p.Limit+1)
	if err != nil {
		return lab.List[Plan]{}, err
	}
	return lab.Cut(plans, p, func(p Plan) string { return p.ID }), nil
}
