package planner

import (
	"time"

	"wetside/lab/units"
)

// A Problem is everything that planning depends on. It is a pure value: the
// same Problem gives the same Plan. All references between its parts are by
// id, ids are unique within their kind.
//
// Lengths are mm, areas mm², volumes mL, money minor units of the lab's
// currency, spans whole seconds (ISO 8601 in JSON), instants RFC 3339.
// Whether areas are trade or geometric is the caller's choice, the same for
// films and baths.
type Problem struct {
	// Horizon is the span planned: no batch starts before it or clears the tank after it.
	Horizon Window `json:"horizon"`
	// Search bounds and seeds the search.
	Search Search `json:"search"`
	// TolerancePermille is how far the developing times of Shareable classes
	// of one process may lie apart within one batch: (longest − shortest) × 1000
	// ≤ TolerancePermille × shortest.
	TolerancePermille int64 `json:"developing_tolerance_permille,omitempty"`
	// LeftOutDays is how many days late a roll that is left out counts, at
	// least, at level 2; see Levels. 0 stands for 14.
	LeftOutDays int64 `json:"left_out_days,omitempty"`

	Tanks    []Tank     `json:"tanks"`
	Reels    []ReelKind `json:"reels"`
	Cabinets []Cabinet  `json:"cabinets"`
	Sessions []Session  `json:"sessions"`
	Classes  []Class    `json:"classes"`
	Baths    []Bath     `json:"baths"`
	BathSets []BathSet  `json:"bath_sets"`
	Rolls    []Roll     `json:"rolls"`

	// Pins bind a roll to a session, bans keep it out of one (or, with no
	// session, out of the plan).
	Pins []Hold `json:"pins,omitempty"`
	Bans []Hold `json:"bans,omitempty"`
	// Frozen batches stand as they are: their rolls are not in Rolls, and what
	// they take of tanks, operators, reels, baths and cabinets is gone.
	Frozen []FrozenBatch `json:"frozen,omitempty"`
	// Previous is where the plan before had its rolls (level 6).
	Previous []Hold `json:"previous,omitempty"`
}

// A Window is the half-open span [Start, End).
type Window struct {
	Start time.Time `json:"start"`
	End   time.Time `json:"end"`
}

// Search says how long to look. The search ends at the first of: everything
// proved; Iterations done; Budget gone. Only the last depends on the machine,
// so a plan that ended otherwise is the same everywhere.
type Search struct {
	Seed int64 `json:"seed,omitempty"`
	// Budget is the most wall-clock time to use; 0, given as PT0S or left out,
	// stands for 20 s, a safety net far beyond what the default Iterations take.
	Budget units.Duration `json:"budget,omitempty"`
	// Iterations is the most improvement steps; 0 lets the planner choose by size.
	Iterations int64 `json:"iterations,omitempty"`
	// UpTo ends the search once the objective's levels 1..UpTo are proved; 0 stands for all.
	UpTo int `json:"up_to_level,omitempty"`
}

// A Tank is what a run happens in.
type Tank struct {
	ID       string `json:"id"`
	HeightMM int64  `json:"height_mm"`
	VolumeML int64  `json:"volume_ml"`
	// Reels are the kinds of reel that fit.
	Reels []string `json:"reels"`
	// WarmUp is the time to bring the solutions of a process to temperature,
	// by process; a process not named needs none.
	WarmUp map[string]units.Duration `json:"warm_up,omitempty"`
	// CleanUp follows every run; Flush follows it too when the next run of
	// this tank is of another process.
	CleanUp units.Duration `json:"clean_up,omitempty"`
	Flush   units.Duration `json:"flush,omitempty"`
}

// A ReelKind is a stock of like reels.
type ReelKind struct {
	Kind  string `json:"kind"`
	Count int64  `json:"count"`
	// Holds is how many rolls one reel takes (sheets in a holder); 0 stands for 1.
	Holds    int64 `json:"holds,omitempty"`
	HeightMM int64 `json:"height_mm"`
	// SolutionML is what it takes to cover one such reel.
	SolutionML int64 `json:"solution_ml"`
	// Loading is the operator's time to load one, in the dark.
	Loading units.Duration `json:"loading,omitempty"`
	// Drying is how long after a run's end a used reel cannot be loaded again.
	Drying units.Duration `json:"drying,omitempty"`
}

// A Cabinet is where film dries.
type Cabinet struct {
	ID        string         `json:"id"`
	Positions int64          `json:"positions"`
	Drying    units.Duration `json:"drying"`
	// Takes is how many positions a roll needs, by its Hang; what is not named
	// does not hang here.
	Takes map[string]int64 `json:"takes"`
}

// A Session is a window of one tank with one operator. Sessions of one tank
// do not overlap.
type Session struct {
	ID       string `json:"id"`
	Tank     string `json:"tank"`
	Window          // start, end
	Operator string `json:"operator"`
	// Processes are those allowed; none named allows all.
	Processes []string `json:"processes,omitempty"`
}

// A Class is one process at one push and developing time: what may share a batch.
type Class struct {
	ID      string `json:"id"`
	Process string `json:"process"`
	// Developing is the (first) developer's time, which TolerancePermille compares.
	Developing units.Duration `json:"developing"`
	// Wet is from the first solution in to the film hung up, by-hand steps
	// included, at the longest that bath use may yet ask for.
	Wet units.Duration `json:"wet"`
	// Steps are the baths it needs, each with its beginning after wet start.
	Steps []Step `json:"steps,omitempty"`
	// Hands are the operator's by-hand spans after wet start, in order.
	Hands []Span `json:"hands,omitempty"`
	// Shareable classes (black-and-white) may share a batch with others of
	// their process within TolerancePermille.
	Shareable bool `json:"shareable,omitempty"`
}

// A Step is the use of the bath of one role.
type Step struct {
	Role   string         `json:"role"`
	Begins units.Duration `json:"begins"`
}

// A Span is from one offset to another.
type Span struct {
	From units.Duration `json:"from"`
	To   units.Duration `json:"to"`
}

// A Bath is one solution, mixed or as it would be once its kit is mixed. A
// limit not given does not bind.
type Bath struct {
	ID       string `json:"id"`
	Role     string `json:"role"`
	VolumeML int64  `json:"volume_ml"`
	// OneShot baths are poured away: each run draws from VolumeML what covers
	// its reels and what its area needs by RunMM2PerL. Others return whole.
	OneShot bool `json:"one_shot,omitempty"`
	// RunMM2PerL is the film area that one litre carries in one run.
	RunMM2PerL *int64 `json:"run_mm2_per_l,omitempty"`
	// AreaLeftMM2 and RunsLeft are what is left of its capacity.
	AreaLeftMM2 *int64 `json:"area_left_mm2,omitempty"`
	RunsLeft    *int64 `json:"runs_left,omitempty"`
	// ExpiresAt ends the life of a bath that is mixed; Life is that of one
	// that is not, from the moment it is.
	ExpiresAt *time.Time      `json:"expires_at,omitempty"`
	Life      *units.Duration `json:"life,omitempty"`
}

// A BathSet is the baths that go through one run together.
type BathSet struct {
	ID string `json:"id"`
	// Processes it serves.
	Processes []string `json:"processes"`
	Baths     []string `json:"baths"`
	// Mix is there when the set is still a kit on the shelf.
	Mix *Mix `json:"mix,omitempty"`
	// WasteMinorPerM2 is what a square metre of capacity that expires unused
	// within the horizon cost (level 3); for sets already mixed.
	WasteMinorPerM2 int64 `json:"waste_minor_per_m2,omitempty"`
}

// A Mix is what it takes to make a bath set from a kit.
type Mix struct {
	Kit        string         `json:"kit"`
	PriceMinor int64          `json:"price_minor"`
	Takes      units.Duration `json:"takes"`
	// By is the end of the unopened kit's shelf life: mixing begins no later.
	By *time.Time `json:"by,omitempty"`
}

// A Roll is a piece of film to place.
type Roll struct {
	ID       string     `json:"id"`
	Class    string     `json:"class"`
	AreaMM2  int64      `json:"area_mm2"`
	Reel     string     `json:"reel"`
	Hang     string     `json:"hang"`
	HandedIn time.Time  `json:"handed_in"`
	Due      *time.Time `json:"due,omitempty"`
	// Weight is its priority times its waiting, at least 1; 0 stands for 1.
	Weight int64 `json:"weight,omitempty"`
	// Booked is the session it holds a place in, if any.
	Booked string `json:"booked,omitempty"`
}

// A Hold ties a roll to a session.
type Hold struct {
	Roll    string `json:"roll"`
	Session string `json:"session,omitempty"`
}

// A FrozenBatch is a batch that stands, with the rolls it holds.
type FrozenBatch struct {
	Batch
	Films []Roll `json:"films"`
}
