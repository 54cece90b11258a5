package api_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/getkin/kin-openapi/openapi3"

	"wetside/api"
	"wetside/api/apitest"
	"wetside/deploy/demo"
	"wetside/lab"
	"wetside/openapi"
)

// TestAuthorizationMatrix asks for every operation of the contract as everybody
// there is, on objects of one's own, of another member, of another lab, and on
// such as are not there. What must come of it follows from may alone. Nothing
// that a request changes stays, so that each case finds the same lab.
func TestAuthorizationMatrix(t *testing.T) {
	t.Parallel()
	m := newMatrix(t)
	tried := map[string]int{}
	for _, op := range ruled(t) {
		for _, who := range m.callers {
			for _, object := range m.objectsOf(op) {
				want := expected(op, who, object)
				status, body := m.ask(op, who, object)
				tried[fmt.Sprint(want)]++
				if !want.fits(status) {
					t.Errorf("%s, asked by %s, %s: answered %d, want %v\n%.300s", op.id, who.name, object.name, status, want, body)
				}
			}
		}
	}
	if text := m.log.String(); text != "" {
		t.Errorf("the server logged errors: %.3000s", text)
	}
	total := 0
	for _, n := range tried {
		total += n
	}
	t.Logf("%d cases: %v", total, tried)
	if total < 3000 {
		t.Errorf("only %d cases", total)
	}
}

// TestContractSaysWhoMayAsk holds who may ask for what, in the code's table,
// against the roles in the contract's security; and sees to it that TestAuthorizationMatrix knows every operation.
func TestContractSaysWhoMayAsk(t *testing.T) {
	t.Parallel()
	table := apitest.Start(t).API.May()
	for _, op := range ruled(t) {
		got, want := table[op.id], op.roles
		slices.Sort(want)
		slices.Sort(got)
		if !slices.Equal(got, want) {
			t.Errorf("%s: the table lets in %v, the contract %v", op.id, got, want)
		}
	}
}

// An outcome is what may come of a request.
type outcome string

const (
	unknown   outcome = "401"
	forbidden outcome = "403"
	hidden    outcome = "404"
	// admitted: carried out, or refused for a reason other than who asks.
	admitted outcome = "admitted"
	// answered: by somebody who needs no token, whatever comes of it.
	answered outcome = "answered"
)

func (o outcome) fits(status int) bool {
	switch o {
	case admitted:
		return status < 500 && status != 401 && status != 403 && status != 404
	case answered: // sign-ins with wrong secrets are 401, which is no matter of tokens
		return status < 500 && status != 403 || status == 503
	}
	return fmt.Sprint(status) == string(o)
}

// expected is what the rules come to.
func expected(op contractOperation, who caller, o object) outcome {
	rule := strings.Fields(op.rule)
	holds := func(w string) bool { return slices.Contains(who.roles, w) }
	has := func(word string) bool { return slices.Contains(rule, word) }
	inLab := strings.HasPrefix(op.path, "/v1/labs/{lab}")
	switch {
	case has("anyone"):
		return answered
	case who.token == "" || who.stale:
		return unknown
	case who.setup && !has("setup"):
		return forbidden
	case who.setup, !inLab && has("member"):
	case !inLab:
		return forbidden
	case who.foreign:
		return hidden
	case !has("member") && !has("own") && !has("self") && !slices.ContainsFunc(rule, holds):
		return forbidden
	case has("self") && o.owner != who.member && !slices.ContainsFunc(rule, holds):
		return forbidden
	case has("own") && o.owner != who.member && !slices.ContainsFunc(rule, holds):
		return hidden
	}
	if o.elsewhere {
		return hidden
	}
	return admitted
}

// A contractOperation is what the contract says of one.
type contractOperation struct {
	id, method, path, media string
	roles                   []string // of its security; anyone: none
	rule                    string
	example                 []byte // a body; nil: none
}

// parameters are those of the path that name an object.
func (op contractOperation) parameters() (names []string) {
	for _, part := range strings.Split(op.path, "/") {
		if name, ok := strings.CutPrefix(part, "{"); ok && name != "lab}" {
			names = append(names, strings.TrimSuffix(name, "}"))
		}
	}
	return names
}

func contractDocument(t *testing.T) *openapi3.T {
	t.Helper()
	doc, err := openapi3.NewLoader().LoadFromData(openapi.Document)
	if err != nil {
		t.Fatal(err)
	}
	return doc
}

func contractOperations(t *testing.T) (all []contractOperation) {
	t.Helper()
	var err error
	for path, item := range contractDocument(t).Paths.Map() {
		for method, op := range item.Operations() {
			o := contractOperation{id: op.OperationID, method: method, path: path}
			for _, either := range *op.Security {
				o.roles = append(o.roles, either["bearer"]...)
			}
			if o.roles == nil {
				o.roles = []string{"anyone"}
			}
			if op.RequestBody != nil {
				for media, content := range op.RequestBody.Value.Content {
					o.media = media
					if o.example, err = json.Marshal(content.Schema.Value.Examples[0]); err != nil {
						t.Fatal(err)
					}
				}
			}
			all = append(all, o)
		}
	}
	slices.SortFunc(all, func(a, b contractOperation) int { return strings.Compare(a.id, b.id) })
	return all
}

// A caller is somebody who asks.
type caller struct {
	name, token, member string
	roles               []string
	setup               bool
	stale               bool // a token that is none any more, or never was
	foreign             bool
}

// An object is what the path's parameters name.
type object struct {
	name, owner string
	elsewhere   bool // another lab's, or nobody's
	ids         map[string]string
}

type matrix struct {
	t       *testing.T
	server  *apitest.Server
	told    *demo.Told
	other   string // lab
	now     time.Time
	callers []caller
	objects []object
	log     apitest.Log // of errors
}

func newMatrix(t *testing.T) *matrix {
	t.Helper()
	m := &matrix{t: t, now: time.Date(2026, 11, 25, 8, 30, 0, 0, time.UTC)}
	var later atomic.Int64
	m.server = apitest.Start(t, func(c *api.Config) {
		c.Log = slog.New(slog.NewTextHandler(&m.log, &slog.HandlerOptions{Level: slog.LevelError}))
		c.Clock = func() time.Time { return time.Now().Add(time.Duration(later.Load())) }
	})
	var err error
	if m.told, err = demo.Play(t.Context(), demo.Options{URL: m.server.URL, SetupCode: apitest.SetupCode, HTTP: apitest.HTTP(t), Now: m.now, Log: io.Discard}); err != nil {
		t.Fatal(err)
	}
	foreign := m.server.Found(t, "Quarrow Film Co-op")
	m.other = foreign.LabID
	setup := m.server.Setup(t)
	signIn := func(id string) string {
		var code lab.SignInCode
		setup.Post("/v1/labs/"+m.told.Lab+"/members/"+id+"/sign-in-codes", nil).Want(http.StatusCreated).Into(&code)
		return m.server.SignIn(t, code.Code).Token()
	}
	holder := func(roles ...string) string {
		return m.one(`INSERT INTO members (lab_id, id, name, roles, joined_at) VALUES ($1, new_id('member', now()), 'Role', $2, now()) RETURNING id`, m.told.Lab, roles)
	}
	all := holder("member", "steward", "treasurer", "keeper")
	expired := signIn(all)
	later.Store(int64(time.Hour))
	setup = m.server.Setup(t)
	foreignCode := lab.SignInCode{}
	setup.Post("/v1/labs/"+m.other+"/members/"+foreign.MemberID+"/sign-in-codes", nil).Want(http.StatusCreated).Into(&foreignCode)
	owner, second := m.told.People["farida"], m.told.People["hana"]
	valid := signIn(all)
	m.callers = []caller{
		{name: "nobody"},
		{name: "an expired token", token: expired, stale: true},
		{name: "a token signed by somebody else", token: valid[:strings.LastIndex(valid, ".")+1] + strings.Repeat("A", 86), stale: true},
		{name: "another lab's keeper", token: m.server.SignIn(t, foreignCode.Code).Token(), member: foreign.MemberID, foreign: true},
		{name: "the setup code", token: setup.Token(), setup: true},
		{name: "a member", token: signIn(owner), member: owner, roles: []string{"member"}},
		{name: "another member", token: signIn(second), member: second, roles: []string{"member"}},
	}
	for _, role := range []string{"steward", "treasurer", "keeper"} {
		id := holder("member", role)
		m.callers = append(m.callers, caller{name: "a " + role, token: signIn(id), member: id, roles: []string{"member", role}})
	}
	m.gather(owner, second)
	m.server.API.Rehearse(true)
	return m
}

// one reads one text as the database's owner.
func (m *matrix) one(sql string, args ...any) (text string) {
	m.t.Helper()
	if err := m.server.Pool.QueryRow(m.t.Context(), sql, args...).Scan(&text); err != nil {
		m.t.Fatalf("%v\n%s %v", err, sql, args)
	}
	return text
}

// ruled are the contract's operations, each with its rule from may; one without fails the test.
func ruled(t *testing.T) []contractOperation {
	t.Helper()
	all := contractOperations(t)
	rules := map[string]string{}
	for rule, ids := range may {
		for _, id := range strings.Fields(ids) {
			if rules[id] != "" {
				t.Errorf("may has %s twice", id)
			}
			rules[id] = rule
		}
	}
	for i := range all {
		if all[i].rule = rules[all[i].id]; all[i].rule == "" {
			t.Errorf("may does not say who may ask for %s", all[i].id)
		}
		delete(rules, all[i].id)
	}
	for id := range rules {
		t.Errorf("may has %s, the contract does not", id)
	}
	return slices.DeleteFunc(all, func(op contractOperation) bool { return op.rule == "" })
}

// ask sends a request. A body is one that the contract refuses where the object
// is there and everybody may ask for it or nobody: that is said only to who may ask.
func (m *matrix) ask(op contractOperation, who caller, o object) (status int, answer []byte) {
	path := strings.ReplaceAll(op.path, "{lab}", m.told.Lab)
	for _, name := range op.parameters() {
		path = strings.ReplaceAll(path, "{"+name+"}", o.ids[name])
	}
	if op.id == "estimateCost" {
		path += "?roll=" + o.ids["roll"]
	}
	var body []byte
	if op.example != nil {
		body = op.example
		if !o.elsewhere && !strings.Contains(op.rule, "own") {
			body = []byte(`{"nothing of the kind": true}`)
		}
	}
	req, err := http.NewRequestWithContext(m.t.Context(), op.method, m.server.URL+path, bytes.NewReader(body))
	if err != nil {
		m.t.Fatal(err)
	}
	if body != nil {
		req.Header.Set("Content-Type", op.media)
	}
	if who.token != "" {
		req.Header.Set("Authorization", "Bearer "+who.token)
	}
	req.Header.Set("Trial-Time", m.now.Format(time.RFC3339))
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		m.t.Fatal(err)
	}
	defer func() { _ = resp.Body.Close() }()
	if strings.HasPrefix(resp.Header.Get("Content-Type"), "text/event-stream") {
		return resp.StatusCode, nil
	}
	answer, _ = io.ReadAll(resp.Body)
	return resp.StatusCode, answer
}
