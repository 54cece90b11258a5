package demo

import (
	"fmt"
	"io"
	"strings"
	"unicode/utf8"
)

// columns is how wide the print is at most.
const columns = 100

// A paper is what the print goes on: lines no longer than columns.
type paper struct {
	w io.Writer
	// err is the first error of writing.
	err error
}

// line writes a line, wrapped at words; lines that follow are indented as
// deep as hang.
func (p *paper) line(hang int, format string, args ...any) {
	text := strings.TrimRight(fmt.Sprintf(format, args...), " ")
	for utf8.RuneCountInString(text) > columns {
		runes := []rune(text)
		cut := columns
		for cut > hang+1 && runes[cut] != ' ' {
			cut--
		}
		if cut <= hang+1 {
			cut = columns
		}
		p.put(strings.TrimRight(string(runes[:cut]), " "))
		text = strings.Repeat(" ", hang) + strings.TrimLeft(string(runes[cut:]), " ")
	}
	p.put(text)
}

func (p *paper) put(text string) {
	if p.err == nil {
		_, p.err = fmt.Fprintln(p.w, text)
	}
}

// head begins a part.
func (p *paper) head(format string, args ...any) {
	title := fmt.Sprintf(format, args...)
	p.put("")
	p.put(title + " " + strings.Repeat("═", max(0, columns-1-utf8.RuneCountInString(title))))
}

// pad fills text with spaces to a width, or cuts it to it.
func pad(text string, width int) string {
	n := utf8.RuneCountInString(text)
	if n > width {
		return string([]rune(text)[:width-1]) + "…"
	}
	return text + strings.Repeat(" ", width-n)
}

// right fills text with spaces before it.
func right(text string, width int) string {
	return strings.Repeat(" ", max(0, width-utf8.RuneCountInString(text))) + text
}
