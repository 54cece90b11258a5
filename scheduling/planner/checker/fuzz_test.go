package checker_test

import (
	"bytes"
	"encoding/json"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"wetside/scheduling/planner"
	"wetside/scheduling/planner/checker"
)

// FuzzCheck holds that no plan makes Check panic, that its verdict is the same
// twice, and that what it accepts has every roll in one place, placed or left
// out. A plan is JSON of which edits then change values, so that most that is
// tried is a plan, only a wrong one.
func FuzzCheck(f *testing.F) {
	good, err := os.ReadFile(filepath.Join("testdata", "plan.json"))
	if err != nil {
		f.Fatal(err)
	}
	f.Add(good, []byte{})
	f.Add(good, []byte{0, 1, 20, 40, 41, 3, 100, 200})
	for _, seed := range []string{
		`null`, `{}`, `{"batches":[{}],"left_out":[{}],"levels":[{},{},{},{},{},{}]}`,
		`{"batches":[{"id":"b","session":"mon-big","tank":"big-tank","class":"bw-n","bath_set":"bw-set","mixes":true,
			"start":"0000-01-01T00:00:00Z","wet":"9999-12-31T23:59:59Z","end":"0000-01-01T00:00:00Z","clear":"9999-12-31T23:59:59Z",
			"reels":[{"kind":"reel-35","count":9223372036854775807},{"kind":"holder","count":9223372036854775807}],
			"rolls":[{"roll":"k1","cabinet":"rack"},{"roll":"k1","cabinet":"cupboard"}]}]}`,
	} {
		f.Add([]byte(seed), []byte{})
	}
	f.Fuzz(func(t *testing.T, text, edits []byte) {
		var plan planner.Plan
		if json.Unmarshal(edit(text, edits), &plan) != nil {
			return // not a plan: what decodes plans refuses it before it is judged
		}
		p, _ := load(t)
		found := checker.Check(p, &plan)
		if again := checker.Check(p, &plan); !slices.Equal(again, found) {
			t.Fatalf("first %v, then %v", found, again)
		}
		if len(found) > 0 {
			return
		}
		rolls := len(plan.LeftOut)
		for _, batch := range plan.Batches {
			rolls += len(batch.Rolls)
		}
		if rolls != len(p.Rolls) {
			t.Errorf("accepted with %d of %d rolls", rolls, len(p.Rolls))
		}
	})
}

// extremes are values that no plan should hold, and some that one may.
var extremes = []any{
	nil, "", "nobody", true, 0, 1, -1, json.Number("9223372036854775807"), json.Number("-9223372036854775808"),
	"0000-01-01T00:00:00Z", "9999-12-31T23:59:59Z", "2026-03-02T18:00:00.000000001Z", []any{}, []any{nil},
}

// edit changes values of a JSON text: each pair of bytes puts another value of
// the text, or an extreme one, in place of one. What is no JSON stays.
func edit(text, edits []byte) []byte {
	var tree any
	d := json.NewDecoder(bytes.NewReader(text))
	d.UseNumber()
	if len(edits) < 2 || d.Decode(&tree) != nil {
		return text
	}
	values := slices.Clone(extremes)
	var put []func(any)
	var walk func(v any)
	walk = func(v any) {
		switch v := v.(type) {
		case map[string]any:
			for _, k := range slices.Sorted(maps.Keys(v)) {
				values, put = append(values, v[k]), append(put, func(n any) { v[k] = n })
				walk(v[k])
			}
		case []any:
			for i := range v {
				values, put = append(values, v[i]), append(put, func(n any) { v[i] = n })
				walk(v[i])
			}
		}
	}
	walk(tree)
	for ; len(edits) >= 2 && len(put) > 0; edits = edits[2:] {
		v, err := json.Marshal(values[int(edits[1])%len(values)])
		if err != nil {
			return text
		}
		put[int(edits[0])%len(put)](json.RawMessage(v)) // a copy, so that no value holds itself
	}
	out, err := json.Marshal(tree)
	if err != nil {
		return text
	}
	return out
}
