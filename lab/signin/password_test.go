package signin

import (
	"errors"
	"strings"
	"testing"
	"time"

	"wetside/lab"
)

func TestPasswordsThatWillNotDo(t *testing.T) {
	t.Parallel()
	about := []string{"Sallowmere Film Co-op", "Bram Quillon", "bram.q@example.org"}
	for password, want := range map[string]string{
		"":                       "too-short",
		"aB3$xyz":                "too-short",
		"éééé":                   "too-short", // characters count, not bytes
		strings.Repeat("ab", 65): "too-long",
		"password":               "common",
		"PASSWORD":               "common",
		"Password1":              "common",
		"sunshine2026!":          "common", // digits and marks at the end add little
		"qwertyuiop":             "common",
		"12345678":               "common",
		"trustno1":               "common",
		"zzzzzzzzzzzz":           "repetitive",
		"abcdefghijklmnop":       "repetitive",
		"87654321zyxw":           "repetitive",
		"sallowmere1971":         "easily-guessed",
		"BramQuillon!":           "easily-guessed",
		"wetside-wetside":        "easily-guessed",
		"film co-op 1":           "easily-guessed",
		"ｂｒａｍｑｕｉｌｌｏｎ":            "easily-guessed", // full width is the same letters
	} {
		err := CheckPassword("/password", password, LeastPassword, about...)
		var no *lab.Refusal
		if !errors.As(err, &no) || no.Code != "password-too-weak" || len(no.Faults) != 1 || no.Faults[0].Code != want {
			t.Errorf("%q: %v, want %s", password, err, want)
		}
		if err != nil && len(password) > 8 && strings.Contains(err.Error(), password) {
			t.Errorf("%q is repeated in its refusal", password)
		}
	}
}

func TestPasswordsThatWillDo(t *testing.T) {
	t.Parallel()
	for _, password := range []string{
		"seven slow green lamps", "kx7!mQ2v", "пленка и вода", "暗室でフィルムを現像する",
		"sallowmere has no tram", "correct horse battery staple", "a b c d e f g h", strings.Repeat("x9 Q", 16), // 64 at least (SP 800-63B)
		strings.Repeat("x9 Q", 32),
	} {
		if err := CheckPassword("/password", password, LeastPassword, "Sallowmere Film Co-op", "Bram Quillon"); err != nil {
			t.Errorf("%q: %v", password, err)
		}
	}
	if err := CheckPassword("/password", "kx7!mQ2v", 15); err == nil {
		t.Error("a server that asks for 15 characters takes 8")
	}
}

func TestTheListIsWhatItIsSaidToBe(t *testing.T) {
	t.Parallel()
	if n := len(common()); n != 19727 {
		t.Errorf("the list has %d passwords", n)
	}
	for password := range common() {
		if len(password) >= LeastPassword && CheckPassword("", password, LeastPassword) == nil {
			t.Errorf("%q is on the list and taken", password)
		}
	}
}

func TestWaitsGrow(t *testing.T) {
	t.Parallel()
	last := time.Duration(0)
	for n := range int64(200) {
		wait := waitAfter(n)
		if wait < last {
			t.Errorf("after %d wrong ones %v, after one less %v", n, wait, last)
		}
		last = wait
	}
	for n, want := range map[int64]time.Duration{
		0: 0, 4: 0, 5: time.Second, 6: 2 * time.Second, 10: 32 * time.Second, 14: 512 * time.Second, 15: 15 * time.Minute,
		99: 15 * time.Minute, 100: 24 * time.Hour, 1 << 40: 24 * time.Hour,
	} {
		if got := waitAfter(n); got != want {
			t.Errorf("after %d wrong ones the wait is %v, want %v", n, got, want)
		}
	}
}
