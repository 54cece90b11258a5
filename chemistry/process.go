package chemistry

import (
	"wetside/lab/units"
)

// A Process is the sequence of steps that a film needs, as filed. Of one code
// there may be several versions; the newest is the one in use. A built-in
// process is version 1, and a lab's own versions of its code follow it.
type Process struct {
	ProcessDefinition
	Version int64 `json:"version"`
	BuiltIn bool  `json:"built_in"`
}

// A ProcessDefinition is what a process is made of, as whoever writes it gives it.
type ProcessDefinition struct {
	Code string      `json:"code"`
	Name string      `json:"name"`
	Kind ProcessKind `json:"kind"`
	// Steps in order. One of them is the developer that push acts on.
	Steps []Step `json:"steps"`
	// Pushes are the developing times by stops of push (positive) and pull, in
	// order of stops, with 0 among them; none where FilmDeveloping.
	Pushes []Push `json:"pushes"`
	// FilmDeveloping says that each roll states its own developing time, as
	// black-and-white film sheets do, within DevelopingRange.
	FilmDeveloping  bool             `json:"film_developing"`
	DevelopingRange *DevelopingRange `json:"developing_range,omitempty"`
	// Temperatures correct the developing time of a black-and-white process
	// for the temperature that the developer has; colour has none.
	Temperatures []TemperaturePoint `json:"temperatures,omitempty"`
	// Curve does the same where there is no table.
	Curve *TemperatureCurve `json:"curve,omitempty"`
	// Control are the limits of its control strips.
	Control []ControlLimit `json:"control,omitempty"`
	// Disagreements are where sources differ from what it takes.
	Disagreements []Disagreement `json:"disagreements,omitempty"`
	// Cautions are the process's own, beside those of its baths.
	Cautions []string `json:"cautions,omitempty"`
	// Source says where the process as a whole comes from; each step and push
	// says it of itself.
	Source string `json:"source"`
}

// A ProcessKind is what sort of process it is.
type ProcessKind string

// The kinds of process.
const (
	ColourReversal ProcessKind = "colour_reversal"
	ColourNegative ProcessKind = "colour_negative"
	BWNegative     ProcessKind = "bw_negative"
	BWReversal     ProcessKind = "bw_reversal"
)

// Known says whether k is one of the kinds.
func (k ProcessKind) Known() bool {
	return k == ColourReversal || k == ColourNegative || k.BlackAndWhite()
}

// BlackAndWhite says that rolls of near developing times may share a batch and
// that temperature may be corrected for.
func (k ProcessKind) BlackAndWhite() bool { return k == BWNegative || k == BWReversal }

// A Step is one bath of a process, or one wash. Its time is from when the
// solution covers the film until the next one does: draining is inside it, as
// is common practice (and as Kodak Z-131, Table 4-1 counts crossover).
type Step struct {
	// Role is which bath of a kit it uses; of a water step, what it is for.
	Role string `json:"role"`
	Name string `json:"name"`
	// Time is the normal one; 0 for the developer of a FilmDeveloping process.
	Time units.Duration `json:"time"`
	// Shortest and Longest bound the step as it is done; 0 does not. Of the
	// developer they are of normal development: a push moves them along.
	Shortest units.Duration `json:"shortest,omitempty"`
	Longest  units.Duration `json:"longest,omitempty"`
	// The solution may be from Temperature − Tolerance to Temperature +
	// Tolerance. Where a source gives a range alone, Temperature is its middle.
	Temperature units.Temperature `json:"temperature"`
	Tolerance   units.Temperature `json:"tolerance"`
	// Agitation is how to agitate, for the operator.
	Agitation string `json:"agitation"`
	// Drain is how long before its end the tank is lifted or emptied.
	Drain units.Duration `json:"drain"`
	// Dark steps are in a light-tight tank, or in the dark.
	Dark bool `json:"dark"`
	// ByHand steps take the operator's hands all their time, outside the tank.
	ByHand bool `json:"by_hand"`
	// Water steps need no bath of a kit.
	Water bool `json:"water"`
	// Developer marks the one step that push and developing time act on.
	Developer bool   `json:"developer"`
	Source    string `json:"source"`
}

// Lowest and Highest bound the step's temperature.
func (s Step) Lowest() units.Temperature  { return s.Temperature - s.Tolerance }
func (s Step) Highest() units.Temperature { return s.Temperature + s.Tolerance }

// LongestAt is Longest of a step whose normal time is base; 0 does not bind.
func (s Step) LongestAt(base units.Duration) units.Duration { return s.moved(s.Longest, base) }

// ShortestAt is Shortest of a step whose normal time is base; 0 does not bind.
func (s Step) ShortestAt(base units.Duration) units.Duration { return s.moved(s.Shortest, base) }

func (s Step) moved(bound, base units.Duration) units.Duration {
	if bound == 0 || s.Time == 0 || base == s.Time {
		return bound
	}
	return units.Duration(divHalfUp(int64(bound)*int64(base), int64(s.Time)))
}

// A Push is the developing time at so many stops of push, or pull if negative.
type Push struct {
	Stops      int            `json:"stops"`
	Developing units.Duration `json:"developing"`
	Source     string         `json:"source,omitempty"`
}

// A DevelopingRange bounds the developing times that rolls may state.
type DevelopingRange struct {
	Min units.Duration `json:"min"`
	Max units.Duration `json:"max"`
}

// The furthest push and pull that a roll may ask for.
const (
	FurthestPull = -3
	FurthestPush = 3
)

// Roles are the roles of the baths that the process needs, in order of use.
func (p Process) Roles() []string { return p.ProcessDefinition.roles() }

func (d ProcessDefinition) roles() []string {
	var roles []string
	for _, s := range d.Steps {
		if !s.Water {
			roles = append(roles, s.Role)
		}
	}
	return roles
}

// listed is d with an empty table of pushes where it has none, so that JSON has
// a list.
func (d ProcessDefinition) listed() ProcessDefinition {
	if d.Pushes == nil {
		d.Pushes = []Push{}
	}
	return d
}

// DeveloperStep is the step that push and developing time act on.
func (p Process) DeveloperStep() Step {
	for _, s := range p.Steps {
		if s.Developer {
			return s
		}
	}
	return Step{}
}

// WorkingTemperature is what the tank is warmed up to: the highest that a step
// in the tank calls for.
func (p Process) WorkingTemperature() units.Temperature {
	var t units.Temperature
	for _, s := range p.Steps {
		if !s.ByHand {
			t = max(t, s.Temperature)
		}
	}
	return t
}

// Developing is the developing time of a roll at push stops. By a table of
// pushes the roll may state no time of its own; where each film has its own
// (FilmDeveloping) the roll must, and as film sheets give it for the speed
// exposed at, it has the push in it already: push then is a label. It fails
// with a Fault at /push or /developing.
func (p Process) Developing(push int, own *units.Duration) (units.Duration, error) {
	if p.FilmDeveloping {
		return p.ownDeveloping(push, own)
	}
	if own != nil {
		return 0, fault("/developing", "developing-by-table", "%s develops by its table: say the push, not the time", p.Name)
	}
	for _, row := range p.Pushes {
		if row.Stops == push {
			return row.Developing, nil
		}
	}
	return 0, fault("/push", "push-not-in-table", "%s has no developing time for a push of %+d stops", p.Name, push)
}

func (p Process) ownDeveloping(push int, own *units.Duration) (units.Duration, error) {
	if push < FurthestPull || push > FurthestPush {
		return 0, fault("/push", "out-of-range", "want %d to +%d stops, not %+d", FurthestPull, FurthestPush, push)
	}
	if own == nil {
		return 0, fault("/developing", "developing-missing",
			"%s has no one developing time: give the film's, for the speed it was exposed at", p.Name)
	}
	if r := p.DevelopingRange; r != nil && (*own < r.Min || *own > r.Max) {
		return 0, fault("/developing", "out-of-range", "want %s to %s, not %s", r.Min, r.Max, *own)
	}
	return *own, nil
}
