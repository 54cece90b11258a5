package signin

import (
	_ "embed"
	"strings"
	"sync"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"

	"wetside/lab"
)

// How long passwords may be, in characters. NIST SP 800-63B (revision 3,
// 5.1.1.2) asks for 8 at least and for 64 to be allowed; revision 4 (from
// memory) asks for 15 where the password is the only factor, which is why a
// server can be told to ask for more. The upper bound keeps hashing bounded.
const (
	LeastPassword   = 8
	longestPassword = 128
)

// commonText is the list of common passwords that comes with Django (BSD
// 3-Clause, © Django Software Foundation and individual contributors): 19,727
// of them, in lower case, one a line.
//
//go:embed common.txt
var commonText string

var common = sync.OnceValue(func() map[string]bool {
	all := map[string]bool{}
	for line := range strings.Lines(commonText) {
		all[strings.TrimSpace(line)] = true
	}
	return all
})

// normal is a password as it is hashed: NFKC, as SP 800-63B 5.1.1.2 recommends,
// so that one keyboard's é is the other's.
func normal(password string) string { return norm.NFKC.String(password) }

// CheckPassword refuses with Invalid a password that is shorter than least
// characters, longer than any, common, of little variety, or made of words that
// anybody would try here: about are the names of the lab, the member and the like.
func CheckPassword(pointer, password string, least int, about ...string) error {
	r := lab.Refuse(lab.Invalid, "password-too-weak", "this password will not do")
	text := normal(password)
	switch n := utf8.RuneCountInString(text); {
	case n < least:
		r.With(pointer, "too-short", "want %d characters at least; a few words in a row are good", least)
	case n > longestPassword:
		r.With(pointer, "too-long", "want %d characters at most", longestPassword)
	case isCommon(text):
		r.With(pointer, "common", "this password is on the lists that are tried first")
	case variety(text) < 4:
		r.With(pointer, "repetitive", "this repeats itself, or is a row of neighbours")
	case isAbout(text, about):
		r.With(pointer, "easily-guessed", "this is little more than a name that belongs to you or the lab")
	}
	return r.OrNil()
}

// isCommon says whether a password, or what is left of it without the digits and
// marks at its end, is on the list.
func isCommon(text string) bool {
	lower := strings.ToLower(text)
	stem := strings.TrimRightFunc(lower, func(r rune) bool { return !unicode.IsLetter(r) })
	return common()[lower] || utf8.RuneCountInString(stem) >= 4 && common()[stem]
}

// variety counts the different steps from one character to the next, where
// neighbours (abc, 321) and repetitions count as one kind of step each.
func variety(text string) int {
	seen := map[[2]rune]bool{}
	var last rune
	for i, r := range text {
		if step := r - last; i > 0 && step >= -1 && step <= 1 {
			seen[[2]rune{step}] = true
		} else {
			seen[[2]rune{last, r}] = true
		}
		last = r
	}
	return len(seen)
}

// isAbout says whether hardly a letter is left of a password without the words.
func isAbout(text string, about []string) bool {
	rest := strings.ToLower(text)
	before := rest
	for _, name := range append(about, "wetside") {
		for _, word := range strings.FieldsFunc(strings.ToLower(normal(name)), notLetter) {
			if utf8.RuneCountInString(word) >= 2 {
				rest = strings.ReplaceAll(rest, word, "")
			}
		}
	}
	left := 0
	for _, r := range rest {
		if unicode.IsLetter(r) {
			left++
		}
	}
	return rest != before && left < 4
}

func notLetter(r rune) bool { return !unicode.IsLetter(r) }
