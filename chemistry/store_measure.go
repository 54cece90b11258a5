package chemistry

import (
	"context"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

// A FilmMeasured is what a length of a format is in a lab.
type FilmMeasured struct {
	Format   string      `json:"format"`
	LengthMM int64       `json:"length_mm"`
	Area     CountedArea `json:"area_mm2"`
	// RollPermille is the area that counts, in thousandths of RollEquivalentMM2.
	RollPermille int64 `json:"roll_equivalents_permille"`
	// Cine is of cine film.
	Cine    *Reeling  `json:"cine,omitempty"`
	Hanging []Hanging `json:"hanging"`
	Source  string    `json:"source"`
}

// A CountedArea is both areas of film and which of them its lab counts.
type CountedArea struct {
	Areas
	Counts lab.AreaRule `json:"counts"`
}

// A Hanging is how a film hangs in a cabinet; 0 positions: not there at all.
type Hanging struct {
	Cabinet   string `json:"cabinet"`
	Positions int64  `json:"positions"`
}

// mostCabinets is more than any lab has.
const mostCabinets = 1000

// Measured measures film of a format that gives its own length, or none (0).
// It refuses with NotFound, and with invalid as MeasureFilm has it.
func Measured(ctx context.Context, tx pgx.Tx, s lab.Scope, code string, givenMM int64) (FilmMeasured, error) {
	f, err := FindFormat(ctx, tx, s.Lab.ID, code)
	if err != nil {
		return FilmMeasured{}, err
	}
	if f.LengthGiven && givenMM == 0 {
		givenMM = f.LengthMM
	}
	film, err := MeasureFilm(f, givenMM)
	if err != nil {
		return FilmMeasured{}, AsRefusal("", err)
	}
	cabinets, err := lab.Cabinets(ctx, tx, s.Lab.ID, lab.Page{Limit: mostCabinets})
	if err != nil {
		return FilmMeasured{}, err
	}
	m := FilmMeasured{Format: f.Code, LengthMM: film.LengthMM, Area: CountedArea{film.Areas, s.Lab.AreaRule},
		RollPermille: divHalfUp(film.Areas.By(s.Lab.AreaRule)*1000, RollEquivalentMM2),
		Cine:         f.Reeling(film.LengthMM), Hanging: []Hanging{}, Source: f.Source}
	for _, c := range cabinets.Items {
		m.Hanging = append(m.Hanging, Hanging{Cabinet: c.ID, Positions: Positions(f, film.LengthMM, c.DropMM)})
	}
	return m, nil
}
