package planner_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"wetside/lab/units"
	"wetside/scheduling/planner"
	"wetside/scheduling/planner/checker"
)

// An openInstance is a packing instance with a known optimum: sizes of things
// in one dimension (stack height) or three (height, solution, film area).
type openInstance struct {
	set, name string
	capacity  []int64
	sizes     [][]int64
	optimum   int64
}

// shape is how an instance is written as a planning problem.
type shape int

const (
	aRunEach shape = iota // a session for each run
	oneLong               // one session that holds all runs
)

// problem writes an instance as a planning problem: one class, one tank, a bath
// without limits but what a run carries, and reels of a kind for each size. In
// three dimensions sizes may be 0, which neither a reel's height nor a film's
// area can be: so these are a thousand times the size and one more, and what
// holds them a thousand times the capacity and 999 more. Up to 999 rolls fit
// there exactly where their sizes do.
func (in *openInstance) problem(as shape) *planner.Problem {
	const run = 30 * time.Minute
	deep := len(in.capacity) > 1
	tall := func(size int64) int64 { return size }
	if deep {
		tall = func(size int64) int64 { return 1000*size + 1 }
	}
	p := &planner.Problem{
		Tanks:    []planner.Tank{{ID: "tank", HeightMM: in.capacity[0], VolumeML: 1000}},
		Cabinets: []planner.Cabinet{{ID: "cabinet", Positions: 10_000, Drying: units.Hour, Takes: map[string]int64{"strip": 1}}},
		Classes:  []planner.Class{{ID: "class", Process: "process", Wet: units.FromStd(run), Steps: []planner.Step{{Role: "developer"}}}},
		Baths:    []planner.Bath{{ID: "bath", Role: "developer", VolumeML: 1000}},
		BathSets: []planner.BathSet{{ID: "set", Processes: []string{"process"}, Baths: []string{"bath"}}},
	}
	if deep {
		p.Tanks[0].HeightMM, p.Tanks[0].VolumeML = tall(in.capacity[0])+998, in.capacity[1]
		p.Baths[0].VolumeML = in.capacity[1]
		area := tall(in.capacity[2]) + 998
		p.Baths[0].RunMM2PerL = ptr((area*1000 + in.capacity[1] - 1) / in.capacity[1])
	}
	kinds := make(map[string]int)
	for i, size := range in.sizes {
		kind := planner.ReelKind{Kind: fmt.Sprintf("reel-%v", size), HeightMM: tall(size[0])}
		area := int64(50_000)
		if deep {
			kind.SolutionML, area = size[1], tall(size[2])
		}
		k, ok := kinds[kind.Kind]
		if !ok {
			k = len(p.Reels)
			kinds[kind.Kind] = k
			p.Reels = append(p.Reels, kind)
			p.Tanks[0].Reels = append(p.Tanks[0].Reels, kind.Kind)
		}
		p.Reels[k].Count++
		p.Rolls = append(p.Rolls, planner.Roll{ID: fmt.Sprintf("roll-%d", i), Class: "class", AreaMM2: area, Reel: kind.Kind, Hang: "strip", HandedIn: monday})
	}
	for i := range in.sizes {
		s := planner.Session{ID: fmt.Sprintf("session-%d", i), Tank: "tank"}
		s.Start = monday.Add(time.Duration(i) * run)
		s.End = s.Start.Add(run)
		if as == oneLong {
			s.End = monday.Add(time.Duration(len(in.sizes)) * run)
		}
		p.Sessions = append(p.Sessions, s)
		if as == oneLong {
			break
		}
	}
	p.Horizon = planner.Window{Start: monday, End: monday.Add(time.Duration(len(in.sizes)) * run)}
	p.Search.Budget = 10 * units.Minute // work ends it, not the clock of a busy machine
	return p
}

// TestOpenSets has the planner prove the fewest runs for open benchmark sets of
// one- and three-dimensional packing, read from the folder that
// WETSIDE_BENCH_DATA names; and, with or without it, for generated instances
// whose optimum is known by construction. It takes every third instance, or all
// when WETSIDE_BENCH_ALL=yes.
func TestOpenSets(t *testing.T) {
	every := 3
	switch {
	case raceDetector:
		every = 12
	case os.Getenv("WETSIDE_BENCH_ALL") == "yes":
		every = 1
	}
	instances := generatedInstances()
	if dir := os.Getenv("WETSIDE_BENCH_DATA"); dir != "" {
		instances = append(instances, lineInstances(t, dir)...)
		instances = append(instances, vectorInstances(t, dir)...)
	} else {
		t.Log("WETSIDE_BENCH_DATA names no folder: generated instances alone")
	}
	var sets []string
	rows := make(map[string]*openRow)
	for i := range instances {
		in := &instances[i]
		row := rows[in.set]
		if row == nil {
			row = &openRow{}
			rows[in.set] = row
			sets = append(sets, in.set)
		}
		if row.seen++; (row.seen-1)%every == 0 {
			row.solve(t, in, shape(row.seen/every%2))
		}
	}
	t.Logf("%-18s %5s %7s %7s %8s %8s", "set", "tried", "solved", "proved", "median", "worst")
	for _, set := range sets {
		t.Log(rows[set].line(set))
	}
}

// An openRow is what came of one set.
type openRow struct {
	seen, tried, solved, proved int
	times                       []time.Duration
}

func (row *openRow) solve(t *testing.T, in *openInstance, as shape) {
	t.Helper()
	p := in.problem(as)
	before := processTime()
	plan, err := planner.Solve(context.Background(), p, nil)
	took := processTime() - before
	if err != nil {
		t.Fatalf("%s %s: %v", in.set, in.name, err)
	}
	row.tried++
	row.times = append(row.times, took)
	level := plan.Levels[3]
	if level.Value == in.optimum && len(plan.LeftOut) == 0 {
		row.solved++
	}
	if level.Value == level.Bound {
		row.proved++
	} else {
		t.Errorf("%s %s: %d runs, at least %d; the fewest are %d", in.set, in.name, level.Value, level.Bound, in.optimum)
	}
	if level.Value < in.optimum || level.Bound > in.optimum {
		t.Errorf("%s %s: %d runs, at least %d, and the optimum is %d", in.set, in.name, level.Value, level.Bound, in.optimum)
	}
	if v := checker.Check(p, plan); len(v) > 0 {
		t.Errorf("%s %s: %v", in.set, in.name, v[0])
	}
	most := 10 * time.Second
	switch {
	case len(in.capacity) > 1 && len(in.sizes) <= 20:
		most = time.Second
	case len(in.capacity) > 1:
		most = time.Minute
	}
	if took > most && !raceDetector && testing.CoverMode() == "" {
		t.Errorf("%s %s: took %s of the processor, want at most %s", in.set, in.name, took, most)
	}
}

func (row *openRow) line(set string) string {
	slices.Sort(row.times)
	if len(row.times) == 0 {
		return fmt.Sprintf("%-18s none tried", set)
	}
	return fmt.Sprintf("%-18s %5d %7d %7d %7.2fs %7.2fs", set, row.tried, row.solved, row.proved,
		row.times[len(row.times)/2].Seconds(), row.times[len(row.times)-1].Seconds())
}

// processTime is what this process has used of the processor.
func processTime() time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		panic(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// lineInstances reads the one-dimensional sets: number of things, capacity,
// then a size a line; optima.tsv has set, name, things, capacity, optimum.
func lineInstances(t *testing.T, dir string) []openInstance {
	t.Helper()
	var out []openInstance
	for _, f := range table(t, filepath.Join(dir, "bin-packing", "optima.tsv"), 5) {
		in := openInstance{set: f[0], name: f[1], optimum: number(t, f[4])}
		v := numbers(t, filepath.Join(dir, "bin-packing", f[0], f[1]+".txt"))
		in.capacity = v[1:2]
		for i := range v[2:] {
			in.sizes = append(in.sizes, v[2+i:3+i])
		}
		out = append(out, in)
	}
	return out
}

// vectorInstances reads the three-dimensional sets: dimensions, capacities,
// number of types, then sizes and count a line. Three instances, all of them
// triplets, have a thing of negative size: there every size in that dimension
// is moved up, and the capacity by three times as much, which leaves the
// optimum where construction put it, a third of the things, since all bins of
// it are full.
func vectorInstances(t *testing.T, dir string) []openInstance {
	t.Helper()
	var out []openInstance
	for _, f := range table(t, filepath.Join(dir, "vector-packing", "optima.tsv"), 2) {
		class, _, _ := strings.Cut(strings.TrimPrefix(f[0], "New_"), "_3_")
		in := openInstance{set: class, name: f[0], optimum: number(t, f[1])}
		v := numbers(t, filepath.Join(dir, "vector-packing", f[0]))
		d := int(v[0])
		in.capacity, v = v[1:1+d], v[2+d:]
		for ; len(v) > d; v = v[d+1:] {
			for range v[d] {
				in.sizes = append(in.sizes, slices.Clone(v[:d]))
			}
		}
		for k := range d {
			var least int64
			for _, size := range in.sizes {
				least = min(least, size[k])
			}
			in.capacity[k] -= 3 * least
			for _, size := range in.sizes {
				size[k] -= least
			}
		}
		out = append(out, in)
	}
	return out
}

// table reads the lines of a file of tab-separated fields, but for the first.
func table(t *testing.T, name string, fields int) [][]string {
	t.Helper()
	b, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	var out [][]string
	for _, line := range strings.Split(strings.TrimSpace(string(b)), "\n")[1:] {
		f := strings.Split(line, "\t")
		if len(f) != fields {
			t.Fatalf("%s: %q has not %d fields", name, line, fields)
		}
		out = append(out, f)
	}
	return out
}

func numbers(t *testing.T, name string) []int64 {
	t.Helper()
	b, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	var out []int64
	for _, f := range strings.Fields(string(b)) {
		out = append(out, number(t, f))
	}
	return out
}

func number(t *testing.T, text string) int64 {
	t.Helper()
	v, err := strconv.ParseInt(strings.TrimSpace(text), 10, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// generatedInstances are bins cut into pieces without waste: as many as they
// were is the fewest.
func generatedInstances() []openInstance {
	rng := rand.New(rand.NewPCG(7, 41))
	var out []openInstance
	cut := func(set string, bins, pieces int, capacity ...int64) {
		in := openInstance{set: set, name: fmt.Sprint(set, "-", len(out)), capacity: capacity, optimum: int64(bins)}
		for range bins {
			sizes := make([][]int64, pieces)
			for i := range sizes {
				sizes[i] = make([]int64, len(capacity))
			}
			for d, c := range capacity {
				// About alike: each from half to one and a half of an even part.
				left := c
				for i := range sizes[:pieces-1] {
					even := left / int64(pieces-i)
					sizes[i][d] = even/2 + rng.Int64N(even+1)
					left -= sizes[i][d]
				}
				sizes[pieces-1][d] = left
			}
			in.sizes = append(in.sizes, sizes...)
		}
		rng.Shuffle(len(in.sizes), func(i, j int) { in.sizes[i], in.sizes[j] = in.sizes[j], in.sizes[i] })
		out = append(out, in)
	}
	for range 12 {
		cut("generated-pairs", 40, 2, 1000)
		cut("generated-threes", 40, 3, 1000)
		cut("generated-fours", 50, 4, 150)
		cut("generated-3d-twos", 10, 2, 100, 100, 100)
		cut("generated-3d-threes", 20, 3, 100, 100, 100)
	}
	return out
}
