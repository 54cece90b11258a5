package shares_test

import (
	"flag"
	"os"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// cases is how many cases each property is tried on, unless -rapid.checks on
// the command line says otherwise.
const cases = "10000"

func TestMain(m *testing.M) {
	if err := flag.Set("rapid.checks", cases); err != nil {
		panic(err)
	}
	os.Exit(m.Run())
}

// check tries a property and says on how many cases.
func check(t *testing.T, property func(*rapid.T)) {
	t.Helper()
	tried := 0
	rapid.Check(t, func(t *rapid.T) {
		tried++
		property(t)
	})
	t.Logf("%d cases: %s", tried, strings.ReplaceAll(t.Name(), "_", " "))
	if want := flag.Lookup("rapid.checks").Value.String(); !t.Failed() && want == cases && tried < 10_000 {
		t.Errorf("only %d cases were tried", tried)
	}
}
