package referee_test

import (
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"wetside/scheduling/planner"
	"wetside/scheduling/planner/checker"
)

// withoutSolver, set to "yes", lets a quick run on a machine without MiniZinc
// pass by TestReferee, which says so; elsewhere the test fails without it.
const withoutSolver = "WETSIDE_TEST_WITHOUT_MINIZINC"

var (
	problems  = flag.Int("referee.problems", defaultProblems, "how many random whole problems the solver is to settle")
	first     = flag.Int("referee.first", 0, "the seed of the first of them")
	patience  = flag.Duration("referee.patience", 4*time.Second, "how much processor time the solver may take over one level of one problem")
	showTimes = flag.Bool("referee.times", false, "print each problem's time")
)

// A referee runs the model.
type referee struct {
	program, model string
	cpu            time.Duration // of all runs of the solver
	runs           int
}

func newReferee(t *testing.T) *referee {
	t.Helper()
	program, err := exec.LookPath("minizinc")
	if err != nil {
		if os.Getenv(withoutSolver) == "yes" {
			t.Skipf("NOT CHECKED: %v, and %s is yes", err, withoutSolver)
		}
		t.Fatalf("%v: install minizinc (Debian has it, with Gecode), or set %s=yes for a run without the referee", err, withoutSolver)
	}
	model, err := filepath.Abs("referee.mzn")
	if err != nil {
		t.Fatal(err)
	}
	return &referee{program: program, model: model}
}

var (
	errImpossible = errors.New("no plan is as good as claimed")
	errTimeout    = errors.New("the solver is out of time")
)

// least gives the worth of a plan with the least value of a level, given those
// above it, when that is at most what is claimed.
func (r *referee) least(ctx context.Context, dir, data string, level int, worth []int64) ([]int64, error) {
	given := make([]int64, len(planner.LevelNames))
	copy(given, worth[:level])
	text := fmt.Sprintf("%slevel = %d;\ngiven = %s;\nat_most = %d;\n", data, level+1, strings.Join(strings.Fields(fmt.Sprint(given)), ","), worth[level])
	file := filepath.Join(dir, "data.dzn")
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		return nil, err
	}
	ctx, cancel := context.WithTimeout(ctx, 20**patience)
	defer cancel()
	// The time allowed is processor time, so that a busy machine settles as
	// much; MiniZinc starts the solver as a process of its own: both end together.
	cmd := exec.CommandContext(ctx, "sh", "-c", `ulimit -t "$0" && exec "$@"`, strconv.Itoa(int(patience.Seconds())),
		r.program, "--solver", "org.gecode.gecode", r.model, file)
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	cmd.Cancel = func() error { return syscall.Kill(-cmd.Process.Pid, syscall.SIGKILL) }
	var wrong strings.Builder
	cmd.Stderr = &wrong
	out, err := cmd.Output()
	var took time.Duration
	if cmd.ProcessState != nil {
		took = cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()
	}
	r.cpu += took
	r.runs++
	switch {
	case ctx.Err() != nil, err != nil && took > *patience-2*time.Second:
		return nil, errTimeout
	case err != nil:
		return nil, fmt.Errorf("%w: %s%s", err, out, wrong.String())
	case strings.Contains(string(out), "=====UNSATISFIABLE====="):
		return nil, errImpossible
	case !strings.Contains(string(out), "=========="):
		return nil, fmt.Errorf("the solver says neither that it is done nor that it cannot be: %s%s", out, wrong.String())
	}
	var last []int64
	for line := range strings.Lines(string(out)) {
		if rest, ok := strings.CutPrefix(line, "worth "); ok {
			last = last[:0]
			for _, f := range strings.Fields(rest) {
				var v int64
				if _, err := fmt.Sscan(f, &v); err != nil {
					return nil, err
				}
				last = append(last, v)
			}
		}
	}
	if len(last) != len(given) {
		return nil, fmt.Errorf("the solver gives no worth: %s", out)
	}
	return last, nil
}

// optimum gives the values of the best plan, level by level, as far as they
// are those claimed: the first that is better is the last given. A level of 0
// cannot be bettered, and that it is reached shows at the next: only the last
// is asked for all the same.
func (r *referee) optimum(ctx context.Context, dir, data string, claimed []int64) ([]int64, error) {
	var best []int64
	for level := range claimed {
		if claimed[level] == 0 && level+1 < len(claimed) {
			best = append(best, 0)
			continue
		}
		worth, err := r.least(ctx, dir, data, level, claimed)
		if err != nil {
			return best, fmt.Errorf("level %s: %w", planner.LevelNames[level], err)
		}
		if best = append(best, worth[level]); worth[level] != claimed[level] {
			return best, nil
		}
	}
	return best, nil
}

// A score counts what a round of problems came to.
type score struct {
	tried, same, short, open int
	levels, proved           int
	rolls, placed            int
	reasons                  map[string]int
}

// TestReferee has an independent solver, on a model written from the rules in
// words, look for better plans than the planner's, level by level, for random
// whole problems, until it has settled as many as asked for. The planner may
// fall short of the best only where it does not claim to have proved it.
func TestReferee(t *testing.T) {
	r := newReferee(t)
	c := &score{reasons: map[string]int{}}
	for seed := *first; c.same+c.short < *problems && c.tried < 2**problems && !t.Failed(); seed++ {
		c.tried++
		c.problem(t, r, seed)
	}
	t.Logf("%d problems, of %d rolls, %d of them placed: %d equal at every level, %d short of the best without a proof, %d not settled in %s a level",
		c.tried, c.rolls, c.placed, c.same, c.short, c.open, *patience)
	t.Logf("%d levels compared, %d of them proved by the planner; %d runs of the solver, %.1f s of processor time",
		c.levels, c.proved, r.runs, r.cpu.Seconds())
	t.Logf("rules that kept rolls out: %v", c.reasons)
	if settled := c.same + c.short; settled < *problems {
		t.Errorf("%d of %d problems settled, want %d", settled, c.tried, *problems)
	}
}

// problem compares one problem's plan with the best there is.
func (c *score) problem(t *testing.T, r *referee, seed int) {
	p := whole(uint64(seed))
	plan, err := planner.Solve(t.Context(), p, nil)
	if err != nil {
		t.Fatalf("problem %d: %v", seed, err)
	}
	for _, v := range checker.Check(p, plan) {
		t.Errorf("problem %d: %s", seed, v)
	}
	c.rolls += len(p.Rolls)
	c.placed += len(p.Rolls) - len(plan.LeftOut)
	for _, out := range plan.LeftOut {
		for _, reason := range out.Reasons {
			c.reasons[reason.Code]++
		}
	}
	data, err := modelData(p)
	if err != nil {
		t.Fatalf("problem %d: %v", seed, err)
	}
	claimed := make([]int64, len(plan.Levels))
	for i, l := range plan.Levels {
		claimed[i] = l.Value
	}
	before := r.cpu
	best, err := r.optimum(t.Context(), t.TempDir(), data, claimed)
	if *showTimes {
		t.Logf("problem %d: %d rolls, %v, %.1f s", seed, len(p.Rolls), claimed, (r.cpu - before).Seconds())
	}
	same := true
	for i, value := range best {
		l := plan.Levels[i]
		c.levels++
		if l.Bound > value {
			t.Errorf("problem %d: the bound of %s is %d, there is a plan with %d\n%s", seed, l.Name, l.Bound, value, dump(p))
		}
		if l.Proved() {
			c.proved++
		}
		if l.Value != value {
			same = false
			t.Logf("problem %d: %s is %d (bound %d), best %d", seed, l.Name, l.Value, l.Bound, value)
		}
	}
	switch {
	case errors.Is(err, errTimeout):
		c.open++
	case err != nil:
		t.Errorf("problem %d: %v\nclaimed %v\n%s", seed, err, claimed, dump(p))
	case same:
		c.same++
	default:
		c.short++
	}
}

func dump(v any) []byte {
	b, err := json.Marshal(v)
	if err != nil {
		return []byte(err.Error())
	}
	return b
}
