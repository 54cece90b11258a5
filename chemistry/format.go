package chemistry

import (
	"regexp"
)

// A Format is a film's geometry and the reel that takes it.
type Format struct {
	Code string     `json:"code"`
	Name string     `json:"name"`
	Kind FormatKind `json:"kind"`
	// WidthUM is the film's width in µm; of a sheet, either side.
	WidthUM int64 `json:"width_um"`
	// LengthMM is the film's length; where LengthGiven, a usual one.
	LengthMM int64 `json:"length_mm"`
	// LengthGiven says that each roll states its own length.
	LengthGiven bool `json:"length_given"`
	// ReelKind is the code of the reel that takes it.
	ReelKind string `json:"reel_kind"`
	// TradeAreaMM2 is what the trade counts LengthMM of it as; without one it
	// counts as it measures.
	TradeAreaMM2 *int64 `json:"trade_area_mm2"`
	// FramesPerFoot is how many frames a foot of cine film has, over its whole
	// width: double 8 has two rows until it is slit. 0 of other film.
	FramesPerFoot int64 `json:"frames_per_foot,omitempty"`
	// Hang is how it dries.
	Hang Hang `json:"hang"`
	// Source says where the figures come from.
	Source string `json:"source"`
}

// A FormatKind is what sort of film a format is.
type FormatKind string

// The kinds of format.
const (
	Still FormatKind = "still"
	Sheet FormatKind = "sheet"
	Cine  FormatKind = "cine"
)

// The lengths that a roll may state. A cine roll is at most 400 ft, the usual
// core load of 16 mm (121.92 m), and a metre for leaders; a still strip at most
// 5 m, which common practice gives long-roll magazines.
const (
	ShortestMM     = 100
	LongestCineMM  = 123_000
	LongestStillMM = 5_000
)

// Length is the length of a roll that gives its own as givenMM, or none (0).
// It fails with a Fault at /length_mm when one is missing, not called for or
// out of range.
func (f Format) Length(givenMM int64) (int64, error) {
	if !f.LengthGiven {
		if givenMM != 0 && givenMM != f.LengthMM {
			return 0, fault("/length_mm", "length-fixed", "%s is %d mm long; leave the length out", f.Name, f.LengthMM)
		}
		return f.LengthMM, nil
	}
	if givenMM == 0 {
		return 0, fault("/length_mm", "length-missing", "%s comes in any length: say how long this one is, in mm", f.Name)
	}
	if longest := f.longest(); givenMM < ShortestMM || givenMM > longest {
		return 0, fault("/length_mm", "out-of-range", "want %d to %d mm, not %d", ShortestMM, longest, givenMM)
	}
	return givenMM, nil
}

func (f Format) longest() int64 {
	if f.Kind == Cine {
		return LongestCineMM
	}
	return LongestStillMM
}

// Areas are the areas of lengthMM of the format. The trade's area goes with
// length, so that a short end counts for what it is.
func (f Format) Areas(lengthMM int64) Areas {
	a := Areas{Geometric: divHalfUp(f.WidthUM*lengthMM, 1000)}
	a.Trade = a.Geometric
	if f.TradeAreaMM2 != nil {
		a.Trade = divHalfUp(*f.TradeAreaMM2*lengthMM, f.LengthMM)
	}
	// However short, film uses chemistry.
	a.Trade, a.Geometric = max(a.Trade, 1), max(a.Geometric, 1)
	return a
}

// A Film is one piece of film, measured.
type Film struct {
	LengthMM int64
	Areas    Areas
}

// MeasureFilm measures a roll that gives its own length, or none (0). It fails
// as Format.Length does.
func MeasureFilm(f Format, givenMM int64) (Film, error) {
	length, err := f.Length(givenMM)
	if err != nil {
		return Film{}, err
	}
	return Film{LengthMM: length, Areas: f.Areas(length)}, nil
}

var codeText = regexp.MustCompile(`^[a-z0-9][a-z0-9-]{0,39}$`)

func (fs *faults) code(pointer, s string) {
	if !codeText.MatchString(s) {
		fs.add(pointer, "code", "want 1 to 40 small letters, digits and hyphens, not %q", s)
	}
}

// Validate says what is wrong with a lab's own format; nothing if it is sound.
func (f Format) Validate() []Fault {
	var fs faults
	fs.code("/code", f.Code)
	fs.text("/name", f.Name, 200)
	fs.between("/width_um", f.WidthUM, 5_000, 400_000)
	longest := int64(LongestStillMM)
	switch f.Kind {
	case Still, Sheet:
	case Cine:
		longest = LongestCineMM
	default:
		fs.add("/kind", "unknown", "want still, sheet or cine, not %q", f.Kind)
	}
	least := int64(ShortestMM)
	if f.Kind == Sheet {
		least = 20
		if f.LengthGiven {
			fs.add("/length_given", "sheet-length", "a sheet's length is fixed")
		}
	}
	fs.between("/length_mm", f.LengthMM, least, longest)
	fs.code("/reel_kind", f.ReelKind)
	if f.TradeAreaMM2 != nil {
		fs.between("/trade_area_mm2", *f.TradeAreaMM2, 100, 10_000_000)
	}
	switch {
	case f.Hang != HangStrip && f.Hang != HangLoop && f.Hang != HangSingle:
		fs.add("/hang", "unknown", "want strip, loop or single, not %q", f.Hang)
	case (f.Hang == HangSingle) != (f.Kind == Sheet):
		fs.add("/hang", "hang", "sheets hang singly, and nothing else does")
	}
	fs.between("/frames_per_foot", f.FramesPerFoot, 0, 1_000)
	if f.FramesPerFoot != 0 && f.Kind != Cine {
		fs.add("/frames_per_foot", "not-cine", "only cine film is counted in frames a foot")
	}
	fs.text("/source", f.Source, 500)
	return fs
}
