package units_test

import (
	"encoding/json"
	"testing"

	"wetside/lab/units"
)

func TestOptionalTellsNullFromAbsent(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]string{`{}`: "absent", `{"n":null}`: "null", `{"n":7}`: "7"} {
		var in struct {
			N units.Optional[int] `json:"n,omitzero"`
		}
		if err := json.Unmarshal([]byte(text), &in); err != nil {
			t.Fatal(err)
		}
		got := "absent"
		switch {
		case in.N.To != nil:
			got = "7"
			if *in.N.To != 7 {
				t.Errorf("%s is read as %d", text, *in.N.To)
			}
		case in.N.Given:
			got = "null"
		}
		if got != want {
			t.Errorf("%s is read as %s", text, got)
		}
		if back, err := json.Marshal(in); err != nil || string(back) != text {
			t.Errorf("%s is written as %s, %v", text, back, err)
		}
	}
}
