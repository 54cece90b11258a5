package shares

import (
	"bytes"
	"encoding/csv"
	"strings"
	"time"

	"wetside/lab/units"
)

// csvHeader are the columns of a statement.
var csvHeader = []string{"at", "kind", "text", "kit", "run", "rolls", "amount", "balance", "currency", "entry"}

// CSV writes a statement as comma-separated values by RFC 4180: a header, CRLF
// at the end of lines, quotes where needed. Amounts are decimal numbers. A text
// that a spreadsheet would take for a formula is written with an apostrophe
// before it, which spreadsheets do not show.
func (a accountLines) CSV(currency string) []byte {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	w.UseCRLF = true
	write := func(record ...string) { _ = w.Write(record) } // a buffer takes everything
	write(csvHeader...)
	write("", "opening", "", "", "", "", "", units.Decimal(a.Opening, currency), currency, "")
	for _, l := range a.Lines {
		write(l.At.Format(time.RFC3339), string(l.Kind), harmless(l.Text), harmless(l.Kit), harmless(l.Run),
			harmless(strings.Join(l.Rolls, " ")), units.Decimal(l.Amount, currency), units.Decimal(l.Balance, currency), currency, l.Entry)
	}
	write("", "closing", "", "", "", "", "", units.Decimal(a.Closing, currency), currency, "")
	w.Flush()
	return b.Bytes()
}

// harmless keeps a spreadsheet from reading a text as a formula, also where it
// breaks lines or skips blanks before looking.
func harmless(text string) string {
	text = strings.Map(func(r rune) rune {
		if r == '\r' || r == '\n' || r == '\t' {
			return ' '
		}
		return r
	}, text)
	if first := strings.TrimLeft(text, " \u00a0\ufeff"); first != "" && strings.ContainsRune("=+-@|%＝＋－＠", []rune(first)[0]) {
		return "'" + text
	}
	return text
}
