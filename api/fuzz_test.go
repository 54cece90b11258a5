package api_test

import (
	"bytes"
	"flag"
	"fmt"
	"hash/fnv"
	"io"
	"maps"
	"math/rand/v2"
	"net/http"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/getkin/kin-openapi/openapi3"

	"wetside/api/apitest"
	"wetside/lab"
	"wetside/lab/signin"
)

var (
	fuzzRequests = flag.Int("contract.requests", 200, "how many requests TestContractFuzz makes of each operation")
	fuzzSeed     = flag.Uint64("contract.seed", 1, "what TestContractFuzz draws its requests from; 0: the time")
	fuzzOnly     = flag.String("contract.only", "", "the one operation that TestContractFuzz tries")
)

// TestContractFuzz makes requests of every operation from the contract alone:
// such as it takes, and such with something changed in body, path, query, header
// or method. Whatever comes, no answer is a 5xx, and each is one that the contract has
// for the operation: status, headers, body, and the code of a problem. What the
// server carries out, the contract takes too. Nothing stays of what a request changes.
func TestContractFuzz(t *testing.T) {
	t.Parallel()
	requests := *fuzzRequests
	if raceDetector {
		requests = min(requests, 5) // planning is tens of times slower then
	}
	seed := *fuzzSeed
	if seed == 0 {
		seed = uint64(time.Now().UnixNano())
	}
	f := newFuzz(t)
	statuses, never, total := map[int]int{}, []string{}, 0
	for _, op := range f.operations {
		if *fuzzOnly != "" && op.id != *fuzzOnly {
			continue
		}
		name := fnv.New64()
		_, _ = io.WriteString(name, op.id)
		r := rand.New(rand.NewPCG(seed, name.Sum64()))
		carriedOut := 0
		for n := range requests {
			a := f.probe(r, op, n)
			status := f.try(op, a)
			statuses[status/100]++
			total++
			if status > 0 && status < 400 {
				carriedOut++
			}
		}
		if carriedOut == 0 {
			never = append(never, op.id)
		}
	}
	f.report()
	t.Logf("seed %d: %d requests of %d operations; answers by class of status: %v", seed, total, len(f.operations), statuses)
	t.Logf("never carried out: %d operations: %s", len(never), strings.Join(never, " "))
	t.Logf("slowest: %s", f.slowest)
	if text := f.m.log.String(); text != "" {
		t.Errorf("the server logged errors: %.3000s", text)
	}
}

// A fuzzOperation is what the contract says of one.
type fuzzOperation struct {
	contractOperation
	parameters []*openapi3.Parameter
	body       *openapi3.Schema // nil: none
	problems   []string         // its own
}

// A fuzz is a lab to try requests on.
type fuzz struct {
	t          *testing.T
	m          *matrix
	operations []fuzzOperation
	maker      *maker
	faults     map[string][]string // what is wrong, by kind: examples
	took       time.Duration
	slowest    string
}

func newFuzz(t *testing.T) *fuzz {
	t.Helper()
	f := &fuzz{t: t, m: newMatrix(t), faults: map[string][]string{}}
	doc := contractDocument(t)
	for _, op := range ruled(t) {
		at := doc.Paths.Value(op.path)
		said := at.GetOperation(op.method)
		o := fuzzOperation{contractOperation: op}
		for _, ref := range append(slices.Clone(at.Parameters), said.Parameters...) {
			o.parameters = append(o.parameters, ref.Value)
		}
		if said.RequestBody != nil {
			o.body = said.RequestBody.Value.Content[op.media].Schema.Value
		}
		own, _ := said.Extensions["x-problems"].([]any)
		for _, code := range own {
			o.problems = append(o.problems, code.(string))
		}
		f.operations = append(f.operations, o)
	}
	f.maker = newMaker(f)
	f.giveSecrets()
	return f
}

// giveSecrets has somebody be able to sign in in each way, and the maker know how.
func (f *fuzz) giveSecrets() {
	f.m.server.API.Rehearse(false)
	defer f.m.server.API.Rehearse(true)
	keeper := f.m.server.Anyone(f.t).WithToken(f.m.callers[slices.IndexFunc(f.m.callers, func(c caller) bool { return c.name == "a keeper" })].token).At(f.m.now)
	keeper.LabID = f.m.told.Lab
	const email, current = "somebody@example.org", "nine quick amber lamps"
	var made signin.Invitation
	keeper.Post(keeper.Path("invitations"), map[string]any{"name": "Somebody", "email": email, "roles": []string{"member"}}).Want(http.StatusCreated).Into(&made)
	f.m.server.Anyone(f.t).Post(keeper.Path("acceptances"), map[string]string{"secret": made.Secret, "password": current}).Want(http.StatusCreated)
	for range 3 {
		keeper.Post(keeper.Path("invitations"), map[string]any{"name": "Somebody", "roles": []string{"member"}}).Want(http.StatusCreated).Into(&made)
		f.maker.seen["secret"] = append(f.maker.seen["secret"], made.Secret)
	}
	signed := signedIn(f.t, f.m.server, keeper, f.m.objects[0].owner)
	code := apitest.As[lab.SignInCode](keeper.Post(keeper.Path("members", f.m.objects[1].owner, "sign-in-codes"), nil).Want(http.StatusCreated)).Code
	for name, value := range map[string]any{
		"email": email, "password": current, "current_password": current, "refresh_token": signed.RefreshToken, "code": code,
	} {
		f.maker.seen[name] = append([]any{value, value, value}, f.maker.seen[name]...)
	}
}

// common are the problems that the contract has for every operation alike.
var common = []string{
	"malformed", "trial-only", "temperature-not-celsius", "unauthenticated", "forbidden", "not-found", "stale", "too-large",
	"unsupported-media-type", "precondition-required", "method-not-allowed", "idempotency-key-reused", "invalid",
}

// inside is what no answer may tell.
var inside = regexp.MustCompile(`SQLSTATE|\bpgx\b|goroutine \d|\.go:\d|panic:|relation "|violates|runtime error`)

// try sends a request, holds its answer against the contract, and gives its status.
func (f *fuzz) try(op fuzzOperation, a probe) int {
	url := f.m.server.URL + a.path
	if a.query != "" {
		url += "?" + a.query
	}
	req, err := http.NewRequestWithContext(f.t.Context(), a.method, url, bytes.NewReader(a.body))
	if err != nil {
		return 0 // not a request that HTTP can carry
	}
	req.Header = a.header
	began := time.Now()
	resp, err := http.DefaultTransport.RoundTrip(req)
	if err != nil {
		f.fault(op, a, 0, "no answer: "+err.Error(), nil)
		return 0
	}
	got, err := io.ReadAll(beginning(resp))
	_ = resp.Body.Close()
	if took := time.Since(began); took > f.took {
		f.took, f.slowest = took, fmt.Sprintf("%s, %.2f s", op.id, took.Seconds())
	}
	if err != nil {
		f.fault(op, a, resp.StatusCode, "the answer broke off: "+err.Error(), got)
	}
	if resp.StatusCode >= 500 && op.id != "getReady" { // no jobs run here, which it says
		f.fault(op, a, resp.StatusCode, "a fault of the server's", got)
		return resp.StatusCode
	}
	if err := apitest.Hold(req, a.body, resp, got); err != nil {
		f.fault(op, a, resp.StatusCode, err.Error(), got)
	}
	if resp.StatusCode >= 400 {
		if what := inside.Find(got); what != nil && !bytes.Contains(a.body, what) {
			f.fault(op, a, resp.StatusCode, "tells of the inside", got)
		}
		if code := codeOf(got); a.method == op.method && !a.elsewhere && !slices.Contains(op.problems, code) && !slices.Contains(common, code) {
			f.fault(op, a, resp.StatusCode, "the contract does not have "+code, got)
		}
	}
	return resp.StatusCode
}

var problemCode = regexp.MustCompile(`"code":"([a-z0-9-]+)"`)

func codeOf(body []byte) string {
	if m := problemCode.FindSubmatch(body); m != nil {
		return string(m[1])
	}
	return ""
}

// beginning is an answer's body; of one that lasts as long as somebody listens,
// the first event.
func beginning(resp *http.Response) io.Reader {
	if resp.Request.Method != http.MethodGet || !strings.HasPrefix(resp.Header.Get("Content-Type"), "text/event-stream") {
		return resp.Body
	}
	first := make([]byte, 4096)
	n, _ := resp.Body.Read(first)
	return bytes.NewReader(first[:n])
}

var digits = regexp.MustCompile(`[0-9]+`)

// fault notes what is wrong, once for each kind.
func (f *fuzz) fault(op fuzzOperation, a probe, status int, what string, answer []byte) {
	first, _, _ := strings.Cut(what, "\n")
	kind := fmt.Sprintf("%s, answered %d: %s", op.id, status, digits.ReplaceAllString(fmt.Sprintf("%.120s", first), "N"))
	f.faults[kind] = append(f.faults[kind], fmt.Sprintf("%s %s?%s %v\n%.1500s\nwith %s\nanswered %.600s\n%.1500s", a.method, a.path, a.query, a.header, a.body, a.changes, answer, what))
}

func (f *fuzz) report() {
	for _, kind := range slices.Sorted(maps.Keys(f.faults)) {
		all := f.faults[kind]
		shortest := slices.MinFunc(all, func(a, b string) int { return len(a) - len(b) })
		f.t.Errorf("%d times: %s\n%s", len(all), kind, shortest)
	}
}
