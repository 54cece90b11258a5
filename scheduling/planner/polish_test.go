package planner

import (
	"fmt"
	"testing"
	"time"

	"wetside/lab/units"
)

// twoDays is a lab with a tank, an evening of two hours on each of two days, and rolls
// that go into a run one, or two, at a time.
func twoDays(rolls int, perRun int64) *Problem {
	start := time.Date(2030, 1, 7, 18, 0, 0, 0, time.UTC)
	p := &Problem{
		Horizon:  Window{start, start.Add(96 * time.Hour)},
		Tanks:    []Tank{{ID: "tank", HeightMM: 50 * perRun, VolumeML: 1000, Reels: []string{"reel"}}},
		Reels:    []ReelKind{{Kind: "reel", Count: 8, HeightMM: 50, SolutionML: 100}},
		Cabinets: []Cabinet{{ID: "line", Positions: 8, Drying: 2 * units.Hour, Takes: map[string]int64{"strip": 1}}},
		Classes:  []Class{{ID: "short", Process: "p", Developing: 200, Wet: 20 * units.Minute, Steps: []Step{{Role: "dev"}}}, {ID: "long", Process: "p", Developing: 300, Wet: 60 * units.Minute, Steps: []Step{{Role: "dev"}}}},
		Baths:    []Bath{{ID: "bath", Role: "dev", VolumeML: 1000}},
		BathSets: []BathSet{{ID: "set", Processes: []string{"p"}, Baths: []string{"bath"}}},
	}
	for i := range 2 {
		from := start.Add(time.Duration(i) * 24 * time.Hour)
		p.Sessions = append(p.Sessions, Session{ID: fmt.Sprint("day-", i), Tank: "tank", Operator: "op", Window: Window{from, from.Add(2 * time.Hour)}})
	}
	for i := range rolls {
		p.Rolls = append(p.Rolls, Roll{ID: fmt.Sprint(i), Class: "short", AreaMM2: 50_000, Reel: "reel", Hang: "strip", HandedIn: start})
	}
	return p
}

// heldWith is rolls by their reels, two to a run but never two on slow ones: the second
// is held to the second day, the third and what follows the fourth to the first.
func heldWith(reels ...string) *Problem {
	p := twoDays(len(reels), 2)
	p.Tanks[0].Reels = []string{"slow", "quick"}
	p.Reels = []ReelKind{{Kind: "quick", Count: 8, HeightMM: 40, SolutionML: 100, Loading: units.Minute}, {Kind: "slow", Count: 8, HeightMM: 60, SolutionML: 100, Loading: 10 * units.Minute}}
	for i, reel := range reels {
		p.Rolls[i].Reel = reel
		if i != 0 && i != 3 {
			p.Rolls[i].Booked = "day-0"
		}
	}
	p.Rolls[1].Booked = "day-1"
	return p
}

// TestPolishMovesWhatIsDryLast gives the polish plans that one move makes better, and
// one that none does.
func TestPolishMovesWhatIsDryLast(t *testing.T) {
	t.Parallel()
	held := twoDays(2, 1)
	held.Rolls[1].Booked = "day-1"
	slow := twoDays(2, 1)
	slow.Rolls[0].Class, slow.Rolls[0].Booked, slow.Rolls[1].Booked = "long", "day-1", "day-1"
	slow.Cabinets[0].Takes = map[string]int64{"strip": 1}
	slow.Cabinets = append(slow.Cabinets, Cabinet{ID: "slow", Positions: 1, Drying: 3 * units.Hour, Takes: map[string]int64{"sheet": 1}})
	slow.Rolls[1].Hang = "sheet"
	beside := twoDays(2, 1)
	beside.Tanks = append(beside.Tanks, beside.Tanks[0])
	beside.Tanks[1].ID = "other"
	beside.Sessions = append(beside.Sessions, beside.Sessions[1])
	beside.Sessions[2].ID, beside.Sessions[2].Tank, beside.Sessions[2].Operator = "day-1-other", "other", "another"
	beside.Baths = append(beside.Baths, Bath{ID: "spare", Role: "dev", VolumeML: 1000})
	beside.BathSets = append(beside.BathSets, BathSet{ID: "spare", Processes: []string{"p"}, Baths: []string{"spare"}})
	beside.Rolls[0].Booked, beside.Rolls[1].Booked = "day-1", "day-1-other"
	trade := twoDays(2, 1)
	trade.Sessions[0].End = trade.Sessions[0].Start.Add(70 * time.Minute)
	trade.Rolls[0].Class = "long"
	onward := heldWith("slow", "quick", "quick", "quick", "slow")
	onward.Rolls[3].Booked = "day-0"
	for name, row := range map[string]struct {
		p    *Problem
		plan [][]int // rolls, by run
		days []int
		want time.Duration // finish
	}{
		"another set":                   {beside, [][]int{{0}, {1}}, []int{1, 2}, 26*time.Hour + 20*time.Minute},
		"a run for another":             {trade, [][]int{{0}, {1}}, []int{1, 0}, 26*time.Hour + 20*time.Minute},
		"a roll for another":            {heldWith("slow", "quick", "quick", "quick"), [][]int{{0, 1}, {2, 3}}, []int{1, 0}, 26*time.Hour + 22*time.Minute},
		"a roll that another moves for": {onward, [][]int{{0, 1}, {2, 3}, {4}}, []int{1, 0, 0}, 26*time.Hour + 21*time.Minute},
		"a run to another session":      {twoDays(2, 1), [][]int{{0}, {1}}, []int{0, 1}, 2*time.Hour + 40*time.Minute},
		"a roll to another run":         {twoDays(3, 2), [][]int{{0}, {1, 2}}, []int{0, 1}, 2*time.Hour + 40*time.Minute},
		"another order":                 {slow, [][]int{{0}, {1}}, []int{1, 1}, 24*time.Hour + 3*time.Hour + 20*time.Minute},
		"nothing":                       {held, [][]int{{0}, {1}}, []int{0, 1}, 24*time.Hour + 2*time.Hour + 20*time.Minute},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			m := compile(row.p)
			sr := newSearch(m)
			sr.expired = func() bool { return false }
			for i, rolls := range row.plan {
				b := sr.s.fresh(row.days[i], 0)
				for _, r := range rolls {
					m.with(b, r)
				}
				if !sr.s.place(b) {
					t.Fatal("no place")
				}
			}
			sr.keep(sr.s.value())
			sr.record()
			before := sr.bestWorth
			bd := newBounds(m, sr.expired)
			sr.polish(bd.proofs(1000), func() bool { return false })
			if want := int64(row.want / time.Second); sr.bestWorth[finish] != want || sr.bestWorth[lateness] != before[lateness] || sr.bestWorth[runs] > before[runs] {
				t.Errorf("%v, then %v, not a finish of %d", before, sr.bestWorth, want)
			}
		})
	}
}
