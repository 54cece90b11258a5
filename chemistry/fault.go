package chemistry

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"
)

// A Fault is one thing wrong with a value, said without knowing who asked. It
// is the error type of the package's rules; the store turns it into a
// lab.Refusal.
type Fault struct {
	// Pointer is the JSON Pointer (RFC 6901) of the field at fault within the
	// value checked, or "".
	Pointer string
	// Code is stable, for programs; Detail is for people.
	Code   string
	Detail string
}

// Error is the fault in one line.
func (f Fault) Error() string {
	if f.Pointer == "" {
		return f.Code + ": " + f.Detail
	}
	return f.Code + " at " + f.Pointer + ": " + f.Detail
}

func fault(pointer, code, format string, args ...any) Fault {
	return Fault{Pointer: pointer, Code: code, Detail: fmt.Sprintf(format, args...)}
}

// faults gathers what a check finds.
type faults []Fault

func (fs *faults) add(pointer, code, format string, args ...any) {
	*fs = append(*fs, fault(pointer, code, format, args...))
}

// between notes a number outside [least, most].
func (fs *faults) between(pointer string, n, least, most int64) {
	if n < least || n > most {
		fs.add(pointer, "out-of-range", "want %d to %d, not %d", least, most, n)
	}
}

// text notes a text that is empty or longer than most runes, shows nothing, or
// does not stand on one line: it is printed on labels, run sheets and entries.
func (fs *faults) text(pointer, s string, most int) {
	n := utf8.RuneCountInString(s)
	switch {
	case n == 0 || n > most:
		fs.add(pointer, "length", "want 1 to %d characters, not %d", most, n)
	case strings.ContainsFunc(s, breaksLine):
		fs.add(pointer, "control-character", "this text stands on one line")
	case !strings.ContainsFunc(s, visible):
		fs.add(pointer, "blank", "this text shows nothing")
	}
}

func breaksLine(r rune) bool { return unicode.In(r, unicode.Cc, unicode.Zl, unicode.Zp) }

func visible(r rune) bool { return unicode.IsGraphic(r) && !unicode.IsSpace(r) }
