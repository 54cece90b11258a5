package shares_test

import (
	"flag"
	"os"
	"testing"

	_ "pgregory.net/rapid" // registers rapid.checks
)

// TestMain has every property tried on 2,000 cases, unless -rapid.checks on
// the command line says otherwise.
func TestMain(m *testing.M) {
	if err := flag.Set("rapid.checks", "2000"); err != nil {
		panic(err)
	}
	os.Exit(m.Run())
}
