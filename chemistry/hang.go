package chemistry

// Hang is how a film dries in a cabinet.
type Hang string

// The ways to hang film.
const (
	HangStrip  Hang = "strip"  // straight down, weighted; cut between frames where it is longer than the drop
	HangLoop   Hang = "loop"   // cine, uncut, to and fro over two rods under slight tension
	HangSingle Hang = "single" // a sheet, by a corner
)

// Positions is how many hanging positions of dropMM a film takes; 0 says that
// it does not hang there at all. A strip longer than the drop is cut; a loop's
// one position takes the drop twice, down and up; a sheet takes one position
// if its longer side fits. All three are common practice, with no source.
func Positions(f Format, lengthMM, dropMM int64) int64 {
	if lengthMM <= 0 || dropMM <= 0 {
		return 0
	}
	switch f.Hang {
	case HangStrip:
		return divUp(lengthMM, dropMM)
	case HangLoop:
		return divUp(lengthMM, 2*dropMM)
	case HangSingle:
		if max(lengthMM*1000, f.WidthUM) > dropMM*1000 {
			return 0
		}
		return 1
	default:
		return 0
	}
}
