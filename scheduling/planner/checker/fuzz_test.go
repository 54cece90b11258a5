package checker_test

import (
	"encoding/json"
	"os"
	"path/filepath"
	"testing"

	"wetside/scheduling/planner"
	"wetside/scheduling/planner/checker"
)

// FuzzCheck holds that no plan makes Check panic, that its verdict is the same
// twice, and that what it accepts has every roll in one place: placed in a
// known session, or left out.
func FuzzCheck(f *testing.F) {
	good, err := os.ReadFile(filepath.Join("testdata", "plan.json"))
	if err != nil {
		f.Fatal(err)
	}
	f.Add(good)
	for _, seed := range []string{
		`null`, `{}`, `{"batches":[{}],"left_out":[{}],"levels":[{},{},{},{},{},{}]}`,
		`{"batches":[{"id":"b","session":"mon-big","tank":"big-tank","class":"bw-n","bath_set":"bw-set","mixes":true,
			"start":"0000-01-01T00:00:00Z","wet":"9999-12-31T23:59:59Z","end":"0000-01-01T00:00:00Z","clear":"9999-12-31T23:59:59Z",
			"reels":[{"kind":"reel-35","count":9223372036854775807},{"kind":"holder","count":9223372036854775807}],
			"rolls":[{"roll":"k1","cabinet":"rack"},{"roll":"k1","cabinet":"cupboard"}]}]}`,
	} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		var plan planner.Plan
		if json.Unmarshal(b, &plan) != nil {
			t.Skip()
		}
		p, _ := load(t)
		found := checker.Check(p, &plan)
		if again := checker.Check(p, &plan); len(again) != len(found) {
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
