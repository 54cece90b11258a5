package planner_test

import (
	"fmt"
	"math/rand/v2"
	"time"

	"wetside/lab/units"
	"wetside/scheduling/planner"
)

var monday = time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC)

func ptr[T any](v T) *T { return &v }

// week is a made-up lab's week: two tanks, ten evening and weekend sessions,
// three processes, and rolls of four formats.
func week(rolls int, seed uint64) *planner.Problem {
	rng := rand.New(rand.NewPCG(seed, 1))
	p := &planner.Problem{
		Horizon: planner.Window{Start: monday, End: monday.AddDate(0, 0, 7)},
		Tanks: []planner.Tank{
			{
				ID: "tall", HeightMM: 300, VolumeML: 2500, Reels: []string{"small", "medium", "cine"},
				WarmUp: map[string]units.Duration{"c41": 40 * units.Minute, "e6": 45 * units.Minute}, CleanUp: 10 * units.Minute, Flush: 10 * units.Minute,
			},
			{
				ID: "short", HeightMM: 170, VolumeML: 1500, Reels: []string{"small", "medium"},
				WarmUp: map[string]units.Duration{"c41": 25 * units.Minute, "e6": 30 * units.Minute}, CleanUp: 10 * units.Minute, Flush: 10 * units.Minute,
			},
		},
		Reels: []planner.ReelKind{
			{Kind: "small", Count: 8, HeightMM: 40, SolutionML: 250, Loading: 4 * units.Minute, Drying: 3 * units.Hour},
			{Kind: "medium", Count: 4, HeightMM: 60, SolutionML: 400, Loading: 5 * units.Minute, Drying: 3 * units.Hour},
			{Kind: "cine", Count: 2, HeightMM: 95, SolutionML: 900, Loading: 12 * units.Minute, Drying: 6 * units.Hour},
		},
		Cabinets: []planner.Cabinet{
			{ID: "warm", Positions: 14, Drying: 2 * units.Hour, Takes: map[string]int64{"strip": 1, "cine": 8}},
			{ID: "line", Positions: 10, Drying: 5 * units.Hour, Takes: map[string]int64{"strip": 1}},
		},
		Classes: []planner.Class{
			{ID: "c41", Process: "c41", Developing: 195, Wet: 30 * units.Minute, Steps: []planner.Step{{Role: "dev"}, {Role: "blix", Begins: 5 * units.Minute}}, Hands: []planner.Span{{From: 25 * units.Minute, To: 30 * units.Minute}}},
			{ID: "c41+1", Process: "c41", Developing: 225, Wet: 31 * units.Minute, Steps: []planner.Step{{Role: "dev"}, {Role: "blix", Begins: 5 * units.Minute}}, Hands: []planner.Span{{From: 26 * units.Minute, To: 31 * units.Minute}}},
			{ID: "e6", Process: "e6", Developing: 390, Wet: 55 * units.Minute, Steps: []planner.Step{{Role: "first"}, {Role: "blix", Begins: 20 * units.Minute}}, Hands: []planner.Span{{From: 50 * units.Minute, To: 55 * units.Minute}}},
			{ID: "bw-9", Process: "bw", Developing: 540, Wet: 28 * units.Minute, Shareable: true, Steps: []planner.Step{{Role: "dev"}}},
			{ID: "bw-10", Process: "bw", Developing: 600, Wet: 29 * units.Minute, Shareable: true, Steps: []planner.Step{{Role: "dev"}}},
		},
		TolerancePermille: 120,
		Search:            planner.Search{Seed: 1},
	}
	for d := range 7 {
		day := monday.AddDate(0, 0, d)
		if d >= 5 || d%2 == 0 {
			from, to := 18, 22
			if d >= 5 {
				from, to = 10, 18
			}
			for _, tank := range []string{"tall", "short"} {
				p.Sessions = append(p.Sessions, planner.Session{
					ID: fmt.Sprintf("%s-%d", tank, d), Tank: tank, Operator: fmt.Sprint("op", d%2),
					Window: planner.Window{Start: day.Add(time.Duration(from) * time.Hour), End: day.Add(time.Duration(to) * time.Hour)},
				})
			}
		}
	}
	mixed := func(id, role string, area int64, hours int) {
		p.Baths = append(p.Baths, planner.Bath{ID: id, Role: role, VolumeML: 2500, RunMM2PerL: ptr(int64(220_000)), AreaLeftMM2: &area, ExpiresAt: ptr(monday.Add(time.Duration(hours) * time.Hour))})
	}
	mixed("c1-dev", "dev", 900_000, 100)
	mixed("c1-blix", "blix", 1_200_000, 160)
	mixed("e1-first", "first", 500_000, 70)
	mixed("e1-blix", "blix", 800_000, 70)
	for _, k := range []string{"c2", "c3", "e2"} {
		first := "dev"
		if k == "e2" {
			first = "first"
		}
		for _, role := range []string{first, "blix"} {
			p.Baths = append(p.Baths, planner.Bath{ID: k + "-" + role, Role: role, VolumeML: 2500, RunMM2PerL: ptr(int64(220_000)), AreaLeftMM2: ptr(int64(1_600_000)), Life: ptr(5 * units.Day)})
		}
	}
	p.Baths = append(p.Baths, planner.Bath{ID: "bw-dev", Role: "dev", VolumeML: 20_000, OneShot: true, RunMM2PerL: ptr(int64(200_000))})
	p.BathSets = []planner.BathSet{
		{ID: "c1", Processes: []string{"c41"}, Baths: []string{"c1-dev", "c1-blix"}, WasteMinorPerM2: 1500},
		{ID: "e1", Processes: []string{"e6"}, Baths: []string{"e1-first", "e1-blix"}, WasteMinorPerM2: 3000},
		{ID: "c2", Processes: []string{"c41"}, Baths: []string{"c2-dev", "c2-blix"}, Mix: &planner.Mix{Kit: "k2", PriceMinor: 3200, Takes: 20 * units.Minute}},
		{ID: "c3", Processes: []string{"c41"}, Baths: []string{"c3-dev", "c3-blix"}, Mix: &planner.Mix{Kit: "k3", PriceMinor: 2900, Takes: 20 * units.Minute}},
		{ID: "e2", Processes: []string{"e6"}, Baths: []string{"e2-first", "e2-blix"}, Mix: &planner.Mix{Kit: "k4", PriceMinor: 5900, Takes: 30 * units.Minute}},
		{ID: "b1", Processes: []string{"bw"}, Baths: []string{"bw-dev"}},
	}
	formats := []struct {
		reel, hang string
		area       int64
	}{{"small", "strip", 51_613}, {"medium", "strip", 51_613}, {"small", "strip", 34_000}, {"cine", "cine", 122_000}}
	for i := range rolls {
		f := formats[min(rng.IntN(10), 9)*4/10]
		if f.reel == "cine" && rng.IntN(3) > 0 {
			f = formats[0]
		}
		r := planner.Roll{
			ID: fmt.Sprintf("r%03d", i), Class: p.Classes[rng.IntN(len(p.Classes))].ID, AreaMM2: f.area, Reel: f.reel, Hang: f.hang,
			HandedIn: monday.Add(time.Duration(rng.IntN(5*24)-48) * time.Hour), Weight: int64(1 + rng.IntN(3)),
		}
		if rng.IntN(3) > 0 {
			r.Due = ptr(monday.Add(time.Duration(24+rng.IntN(6*24)) * time.Hour))
		}
		if rng.IntN(6) == 0 {
			s := p.Sessions[rng.IntN(len(p.Sessions))]
			if r.HandedIn.Before(s.Start) && (r.Reel != "cine" || s.Tank == "tall") {
				r.Booked = s.ID
			}
		}
		p.Rolls = append(p.Rolls, r)
	}
	return p
}
