package planner

import "time"

// A Plan is a set of batches that keeps every rule, with its worth and proof.
type Plan struct {
	Batches []Batch   `json:"batches"`
	LeftOut []LeftOut `json:"left_out"`
	Levels  []Level   `json:"levels"`
	// Moved are the rolls that the plan before had elsewhere: the changes of level 6.
	Moved []Move `json:"moved,omitempty"`
	// Clashes are the bookings and pins that cannot all be kept: for each held
	// roll that is left out, once for those alike, what it clashes with. They are
	// told for eight rolls at most, and looked for only by a search of all levels.
	Clashes []Clash `json:"clashes,omitempty"`
	// Complete says that the search ended by itself, not by the clock, so that
	// the same problem gives the same plan on any machine.
	Complete bool `json:"complete"`
}

// A Batch is the rolls that go through one run together, and when.
//
// Its clock, all parts following without a gap:
//
//	start                    the operator begins: mixes the kit if Mixes
//	mixed = start + mix      warm-up and loading begin, side by side
//	wet   = mixed + max(warm-up, loading of all reels, one after another)
//	end   = wet + the class's wet time: film hung up, reels out to dry
//	clear = end + the tank's clean-up: the tank is free
//
// The operator is busy from start to mixed + loading, and in the class's
// by-hand spans. A reel is in use from mixed until end + its drying; film
// hangs from end until end + the cabinet's drying. A batch of several classes
// runs by the one with the longest developing time (then the lowest id).
type Batch struct {
	ID      string `json:"id"`
	Session string `json:"session"`
	Tank    string `json:"tank"`
	Process string `json:"process"`
	// Class is the class whose times it runs by.
	Class   string `json:"class"`
	BathSet string `json:"bath_set"`
	// Mixes says that this batch mixes the set's kit first.
	Mixes bool        `json:"mixes,omitempty"`
	Start time.Time   `json:"start"`
	Wet   time.Time   `json:"wet"`
	End   time.Time   `json:"end"`
	Clear time.Time   `json:"clear"`
	Reels []ReelUse   `json:"reels"`
	Rolls []Placement `json:"rolls"`
	// Why says what brings these rolls together and what keeps others out.
	Why string `json:"why,omitempty"`
}

// A ReelUse is how many reels of one kind a batch takes.
type ReelUse struct {
	Kind  string `json:"kind"`
	Count int64  `json:"count"`
}

// A Placement is one roll of a batch and where and until when it dries.
type Placement struct {
	Roll    string    `json:"roll"`
	Cabinet string    `json:"cabinet"`
	DryAt   time.Time `json:"dry_at"`
}

// A LeftOut is a roll that the plan does not place, and why.
type LeftOut struct {
	Roll    string   `json:"roll"`
	Reasons []Reason `json:"reasons"`
	// Change is the smallest change found that would place it, as a sentence; empty when none was found.
	Change string `json:"change,omitempty"`
	// Remedy is the change as data. Verified says that planning again with it
	// gave a plan that places this roll and all others where they are; it is
	// tried for a dozen sorts of roll.
	Remedy   *Remedy `json:"remedy,omitempty"`
	Verified bool    `json:"verified,omitempty"`
}

// A Reason is one rule that stands in the way, and where.
type Reason struct {
	// Code is stable: see the Reason… constants.
	Code string `json:"code"`
	// Session is where it holds; empty when everywhere.
	Session string `json:"session,omitempty"`
	Detail  string `json:"detail"`
}

// The codes of reasons.
const (
	ReasonNoSession    = "no-session"     // no session of the horizon allows the process in a tank that takes the reel
	ReasonReelKind     = "reel-kind"      // the tank does not take the reel, or the lab has none
	ReasonReels        = "reels"          // too few dry reels of the kind
	ReasonTankHeight   = "tank-height"    // the stack would be too high
	ReasonSolution     = "solution"       // the solution would not cover the reels
	ReasonRunArea      = "run-area"       // the volume does not carry the area in one run
	ReasonNoBath       = "no-bath"        // no bath set serves the process
	ReasonBathCapacity = "bath-capacity"  // too little area or too few runs left
	ReasonBathLife     = "bath-life"      // dead when its step would begin
	ReasonBathBusy     = "bath-busy"      // another run has the bath, or mixes it only later
	ReasonSessionTime  = "session-time"   // no time left in the session
	ReasonOperator     = "operator"       // the operator is needed at another tank
	ReasonCabinet      = "cabinet"        // no hanging positions
	ReasonHandedIn     = "handed-in"      // handed in too late
	ReasonBanned       = "banned"         // by the steward
	ReasonBookedElse   = "held-elsewhere" // booked or pinned to another session
	ReasonTimeOver     = "time-over"      // the search's time ended before all that stands in the way was found
)

// A Level is one step of the objective's order: smaller is better, and a
// lower level counts only among plans equal at all levels above.
//
//  1. displaced: booked or pinned rolls left out
//  2. lateness: for each roll placed, weight × days late (dry after due, in
//     whole days, rounded up); for each left out, weight × (LeftOutDays + days,
//     rounded up, that the horizon's end lies after its due)
//  3. chemistry: prices of the kits mixed by the plan's batches, and, for each
//     set already mixed of which a bath expires by the horizon's end, area left
//     unused (the least over its baths) × WasteMinorPerM2 ÷ 1,000,000, floored
//  4. runs: batches
//  5. finish: seconds from the horizon's start until the last film is dry
//  6. changes: rolls in Previous that are not in the same session now
//
// Frozen batches use up capacity and so count in the unused area of level 3;
// they count nowhere else.
type Level struct {
	Name  string `json:"name"`
	Value int64  `json:"value"`
	// Bound is proved: no plan with the values reached at the levels above is below it.
	Bound int64  `json:"bound"`
	Unit  string `json:"unit"`
}

// Proved says that the level's value cannot be bettered.
func (l Level) Proved() bool { return l.Bound >= l.Value }

// The names of the levels, in order, and their units.
var (
	LevelNames = [6]string{"displaced", "lateness", "chemistry", "runs", "finish", "changes"}
	LevelUnits = [6]string{"rolls", "weighted days", "minor units", "batches", "seconds", "rolls"}
)
