package chemistry

import (
	"fmt"
	"strconv"

	"wetside/lab/units"
)

// A HandbookTable is a published table, or a few facts, that stewards look up.
type HandbookTable struct {
	Code  string `json:"code"`
	Title string `json:"title"`
	// Status is how well its source is known.
	Status  SourceStatus `json:"status"`
	Source  string       `json:"source"`
	Columns []string     `json:"columns"`
	Rows    [][]string   `json:"rows"`
}

// A SourceStatus is how well a source is known.
type SourceStatus string

// The statuses.
const (
	Published  SourceStatus = "published"   // read in the published text, or in a copy of it
	SecondHand SourceStatus = "second_hand" // read in a text that quotes it
	Practice   SourceStatus = "common_practice"
	FromMemory SourceStatus = "from_memory" // nobody has yet held it against its table
)

// Handbook is the tables that come with Wetside, for everybody.
func Handbook() []HandbookTable {
	tables := []HandbookTable{mixingHandbook(), replenishmentHandbook(), developingHandbook(), fixingHandbook(), washingHandbook(), coldHandbook(), cineHandbook()}
	return append(tables, factTables...)
}

func mixingHandbook() HandbookTable {
	t := HandbookTable{Code: "reversal-mixing", Title: "Colour reversal, six baths: concentrate in mL for a volume",
		Status: Published, Source: "Kodak TI2443 rev. 01-00", Columns: []string{"bath", "concentrate"}}
	volumes := []int64{350, 500, 1_000, 2_000, 5_000}
	for _, v := range volumes {
		t.Columns = append(t.Columns, fmt.Sprintf("%d mL", v))
	}
	for _, row := range ti2443 {
		for _, c := range row.Concentrates {
			cells := []string{row.Role, c.Name}
			for _, v := range volumes {
				cells = append(cells, decimal(c.TenthsML(v), 1))
			}
			t.Rows = append(t.Rows, cells)
		}
	}
	return t
}

func replenishmentHandbook() HandbookTable {
	t := HandbookTable{Code: "reversal-replenishment", Title: "Colour reversal, six baths: replenisher",
		Status: Published, Source: "Kodak Z-119, section 2, Table 2-1; a roll is 80 in²",
		Columns: []string{"bath", "mL/ft²", "mL/m²", "mL a roll", "mix, US gal", "film a mix, ft², printed", "reckoned"}}
	for _, r := range ReversalReplenishment() {
		t.Rows = append(t.Rows, []string{r.Role, strconv.FormatInt(r.MLPerFT2, 10), strconv.FormatInt(r.MLPerM2(), 10),
			decimal(r.TenthsMLPerRoll(), 1), strconv.FormatInt(r.Gallons, 10), strconv.FormatInt(r.FT2, 10), decimal(r.CoversTenthsFT2(), 1)})
	}
	return t
}

func developingHandbook() HandbookTable {
	t := HandbookTable{Code: "developing-temperature", Title: "Black-and-white developing times by temperature, rotary tube",
		Status: Published, Source: "Kodak F-32, part 2; the films have since been reissued with other times",
		Columns: []string{"developer", "film speed", "20 °C", "21 °C", "22 °C", "24 °C"}}
	for _, r := range DevelopingRows() {
		cells := []string{r.Developer, strconv.Itoa(r.Speed)}
		for _, at := range r.Times {
			cells = append(cells, clock(at))
		}
		t.Rows = append(t.Rows, cells)
	}
	return t
}

func fixingHandbook() HandbookTable {
	fix, _ := ClearingTest(45, 45)
	late, _ := ClearingTest(45, 90)
	return HandbookTable{Code: "fixing", Title: "Fixer: the clearing test and, without it, capacity", Status: Published,
		Source:  "clearing test: NAVEDTRA 14209; capacity: The Darkroom Cookbook, 3rd ed. 2008, p. 108",
		Columns: []string{"what", "figure"}, Rows: [][]string{
			{"fix for", "2 × the clearing time"},
			{"exhausted", "the clearing time is 2 × that when fresh"},
			{"fresh, clears in 0:45", "fix " + clock(fix)},
			{"the same bath, clears in 1:30", "exhausted; film in it takes " + clock(late)},
			{"acid fixer, unknown", strconv.Itoa(AcidFixerRollsPerL) + " rolls a litre"},
			{"alkaline fixer, unknown", strconv.Itoa(AlkalineFixerRollsPerL) + " rolls a litre"},
			{"fine-grained tabular films", "50 to 70 % of that (second-hand), fixed for 3 × the clearing time (second-hand)"},
		}}
}

func washingHandbook() HandbookTable {
	t := HandbookTable{Code: "washing", Title: "Fixer left in film after minutes in running water", Status: Published,
		Source: sourceWashing, Columns: []string{"minutes", "left, ‰"}}
	for n := range units.Duration(8) {
		t.Rows = append(t.Rows, []string{strconv.FormatInt(int64(n), 10), strconv.FormatInt(WashLeft(n*units.Minute), 10)})
	}
	return t
}

func coldHandbook() HandbookTable {
	t := HandbookTable{Code: "cold-fixing", Title: "Fixing below 20 °C, for 5:00 at 20 °C", Status: Published,
		Source: sourceCold, Columns: []string{"at", "time"}}
	for _, at := range []units.Temperature{20_000, 18_000, 15_000, 12_000, 10_000} {
		t.Rows = append(t.Rows, []string{at.String(), clock(ColdFixing(ms(5, 0), at))})
	}
	return t
}

func cineHandbook() HandbookTable {
	t := HandbookTable{Code: "cine-per-length", Title: "Cine: mL of each bath that a length of film takes; 16 mm takes half of 35 mm", Status: Published,
		Source:  "Kodak H-24.09 (2006), Tables 9-3 and 9-4, for colour print; Kodak TI2497 (1999) for black-and-white",
		Columns: []string{"bath", "100 ft of 35 mm", "100 ft of 16 mm", "400 ft of 16 mm"}}
	for _, b := range []struct {
		name string
		ml   int64
	}{
		{"developer", 690}, {"stop", 770}, {"each wash", 1_200}, {"accelerator", 200}, {"persulfate bleach", 200},
		{"black-and-white developer D-97", 650}, {"black-and-white fixer F-5", 600},
	} {
		cells := []string{b.name}
		for _, ml := range []int64{PerLength(b.ml, hundredFeet, false), PerLength(b.ml, hundredFeet, true), PerLength(b.ml, 4*hundredFeet, true)} {
			cells = append(cells, strconv.FormatInt(ml, 10))
		}
		t.Rows = append(t.Rows, cells)
	}
	return t
}

// clock is a span as operators write it.
func clock(d units.Duration) string { return fmt.Sprintf("%d:%02d", d/units.Minute, d%units.Minute) }
