package main

import (
	"regexp"
	"strings"
	"testing"

	"wetside/api/apitest"
	"wetside/deploy/testdb"
)

func TestKeysAreListedRotatedAndRevoked(t *testing.T) {
	t.Parallel()
	url := testdb.URL(t)
	keys := func(code int, args ...string) string {
		t.Helper()
		var said apitest.Log
		environ := []string{"WETSIDE_DATABASE_URL=" + url, "WETSIDE_TRIAL=true"}
		if got := run(t.Context(), append([]string{"keys"}, args...), environ, strings.NewReader(""), &said, &said); got != code {
			t.Fatalf("keys %v ends with %d:\n%s", args, got, said.String())
		}
		return said.String()
	}
	id := regexp.MustCompile(`(?m)^[\w-]{43} `)
	count := func(text string, want int) []string {
		t.Helper()
		ids := id.FindAllString(text, -1)
		if len(ids) != want {
			t.Errorf("want %d keys:\n%s", want, text)
		}
		return ids
	}
	count(keys(0), 0)
	first := count(keys(0, "--rotate"), 1)
	two := count(keys(0, "--rotate"), 2) // the newest first
	if two[1] != first[0] {
		t.Errorf("the first key is gone: %v, %v", first, two)
	}
	count(keys(0, "--rotate"), 2) // the newest has not begun
	if last := count(keys(0, "--revoke"), 1); last[0] == two[0] || last[0] == two[1] {
		t.Error("a key survived being revoked")
	}
	keys(2, "--rotate", "--revoke")
	keys(2, "more")
}
