package api_test

import (
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"math/rand/v2"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"
)

// A probe is a request to be tried.
type probe struct {
	method, path, query string
	header              http.Header
	body                []byte
	changes             []string // in words, what it has that the contract would not have made
	elsewhere           bool     // its path may lead to another operation
}

// lasting are operations that take long each time. They are carried out a few
// times; the rest of their requests is about what is not there.
var lasting = []string{"getPlanGains"}

const lastingRequests = 3

func sortedKeys[V any](m map[string]V) []string { return slices.Sorted(maps.Keys(m)) }

// probe makes the n-th request of an operation: every third as the contract
// has it, the others with up to three changes.
func (f *fuzz) probe(r *rand.Rand, op fuzzOperation, n int) probe {
	a, body := f.valid(r, op, n)
	if n%3 > 0 {
		for range 1 + r.IntN(3) {
			body = f.change(r, op, &a, body)
		}
	}
	if body != nil && a.body == nil {
		a.body = tame(op, body)
	}
	return a
}

// valid makes a request as the contract has it, by somebody who may ask, mostly.
func (f *fuzz) valid(r *rand.Rand, op fuzzOperation, n int) (probe, any) {
	o := f.m.objects[0]
	if chance(r, 0.3) {
		o = f.m.objects[1]
	}
	if slices.Contains(lasting, op.id) && n >= lastingRequests {
		o = f.m.objects[3]
	}
	var able []caller
	for _, who := range f.m.callers {
		if want := expected(op.contractOperation, who, o); want == admitted || want == answered {
			able = append(able, who)
		}
	}
	who := pick(r, f.m.callers)
	if len(able) > 0 && chance(r, 0.95) {
		who = pick(r, able)
	}
	a := probe{method: op.method, path: strings.ReplaceAll(op.path, "{lab}", f.m.told.Lab), header: http.Header{}}
	if who.token != "" {
		a.header.Set("Authorization", "Bearer "+who.token)
	}
	query := url.Values{}
	for _, p := range op.parameters {
		switch {
		case p.In == "path" && p.Name != "lab":
			id := o.ids[p.Name]
			if prefix, _, isID := strings.Cut(id, "_"); isID && chance(r, 0.3) && !slices.Contains(lasting, op.id) {
				id = pick(r, f.maker.ids[prefix])
			}
			a.path = strings.ReplaceAll(a.path, "{"+p.Name+"}", url.PathEscape(id))
		case p.In == "query" && (p.Required || chance(r, 0.3)):
			v := f.maker.value(r, p.Schema.Value, p.Name, 0)
			if many, isArray := v.([]any); isArray {
				for _, one := range many {
					query.Add(p.Name, fmt.Sprint(one))
				}
			} else {
				query.Set(p.Name, fmt.Sprint(v))
			}
		case p.Name == "If-Match":
			a.header.Set(p.Name, pick(r, []string{"*", "*", "*", `"v1"`, `"v2-8c1f0d2ab94e"`}))
		case p.Name == "Trial-Time" && chance(r, 0.98):
			at := f.m.now
			if chance(r, 0.3) {
				at = f.maker.instant(r)
			}
			a.header.Set(p.Name, at.Format(time.RFC3339))
		case p.Name == "Idempotency-Key" && chance(r, 0.2):
			a.header.Set(p.Name, fmt.Sprintf(`"%x"`, r.Uint64()))
		case p.Name == "If-None-Match" && chance(r, 0.2):
			a.header.Set(p.Name, pick(r, []string{"*", `"v1"`, `W/"v1-8c1f0d2ab94e"`}))
		case p.Name == "Last-Event-ID" && chance(r, 0.5):
			a.header.Set(p.Name, fmt.Sprint(r.IntN(100)))
		}
	}
	a.query = query.Encode()
	if op.body == nil {
		return a, nil
	}
	a.header.Set("Content-Type", op.media)
	var body any
	if chance(r, 0.3) {
		_ = json.Unmarshal(op.example, &body)
		return a, f.localized(r, body)
	}
	return a, f.maker.value(r, op.body, "", 0)
}

// localized puts ids of the lab in the place of an example's.
func (f *fuzz) localized(r *rand.Rand, v any) any {
	switch v := v.(type) {
	case map[string]any:
		for _, key := range sortedKeys(v) {
			v[key] = f.localized(r, v[key])
		}
	case []any:
		for i := range v {
			v[i] = f.localized(r, v[i])
		}
	case string:
		if prefix, rest, isID := strings.Cut(v, "_"); isID && len(rest) == 32 && len(f.maker.ids[prefix]) > 0 {
			return pick(r, f.maker.ids[prefix])
		}
	}
	return v
}

// tame writes a body, and has the planner look for no longer than it takes to
// see that it plans.
func tame(op fuzzOperation, body any) []byte {
	in, isObject := body.(map[string]any)
	if isObject && op.body != nil {
		if _, searches := op.body.Properties["iterations"]; searches {
			tameSearch(in)
		} else if op.id == "tryPlan" {
			if search, ok := in["search"].(map[string]any); ok {
				tameSearch(search)
			}
		}
	}
	data, err := json.Marshal(body)
	if err != nil {
		return []byte("null")
	}
	return data
}

func tameSearch(search map[string]any) {
	if n, isNumber := number(search["iterations"]); search["iterations"] == nil || isNumber && (n > 30 || n == 0) {
		search["iterations"] = 20
	}
	if budget, isText := search["budget"].(string); search["budget"] == nil || isText && strings.HasPrefix(budget, "P") {
		search["budget"] = "PT1S"
	}
}

func number(v any) (float64, bool) {
	switch n := v.(type) {
	case float64:
		return n, true
	case int64:
		return float64(n), true
	case int:
		return float64(n), true
	}
	return 0, false
}

// get reads something for the maker.
func (f *fuzz) get(a probe) (body []byte, ok bool) {
	req, err := http.NewRequestWithContext(f.t.Context(), a.method, f.m.server.URL+a.path, nil)
	if err != nil {
		f.t.Fatal(err)
	}
	req.Header = a.header
	resp, err := http.DefaultTransport.RoundTrip(req)
	if err != nil {
		f.t.Fatal(err)
	}
	defer func() { _ = resp.Body.Close() }()
	if resp.StatusCode != http.StatusOK || !strings.HasPrefix(resp.Header.Get("Content-Type"), "application/json") {
		return nil, false
	}
	body, err = io.ReadAll(resp.Body)
	return body, err == nil
}
