package chemistry

// A ControlLimit is how far a control strip's density may be from its
// reference before somebody acts, and before the process stops.
type ControlLimit struct {
	// Measure is what is read: d_min, ld, hd_minus_ld and the like.
	Measure string `json:"measure"`
	// Action and Control are in hundredths of density. Where OneSided, only
	// above the reference counts.
	ActionHundredths  int64  `json:"action_hundredths"`
	ControlHundredths int64  `json:"control_hundredths"`
	OneSided          bool   `json:"one_sided,omitempty"`
	Source            string `json:"source"`
}

// A ControlVerdict is what a control strip's reading calls for.
type ControlVerdict string

// The verdicts.
const (
	InControl    ControlVerdict = "in_control"
	CallsAction  ControlVerdict = "action"
	OutOfControl ControlVerdict = "out_of_control"
)

// Judge is the verdict on a density that is off its reference by so many hundredths.
func (l ControlLimit) Judge(offHundredths int64) ControlVerdict {
	if offHundredths < 0 {
		if l.OneSided {
			return InControl
		}
		offHundredths = -offHundredths
	}
	switch {
	case offHundredths > l.ControlHundredths:
		return OutOfControl
	case offHundredths > l.ActionHundredths:
		return CallsAction
	}
	return InControl
}

// A Disagreement is a point on which sources differ, and which of them the
// process takes. A lab that holds with another gives the process a version of
// its own.
type Disagreement struct {
	// Field is the JSON Pointer of the process's field that it is about.
	Field     string `json:"field"`
	Taken     string `json:"taken"`
	Otherwise string `json:"otherwise"`
	Source    string `json:"source"`
}
