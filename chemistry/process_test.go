package chemistry_test

import (
	"errors"
	"slices"
	"testing"

	"wetside/chemistry"
	"wetside/lab/units"
)

func process(t interface{ Fatalf(string, ...any) }, code string) chemistry.Process {
	for _, p := range chemistry.BuiltInProcesses() {
		if p.Code == code {
			return p
		}
	}
	t.Fatalf("no process %q", code)
	return chemistry.Process{}
}

func ms(minutes, seconds int64) units.Duration {
	return units.Duration(minutes)*units.Minute + units.Duration(seconds)
}

func TestBuiltInProcessesAreSound(t *testing.T) {
	t.Parallel()
	for _, p := range chemistry.BuiltInProcesses() {
		if fs := p.Validate(); len(fs) != 0 {
			t.Errorf("%s: %v", p.Code, fs)
		}
		if !p.BuiltIn || p.Version != 1 {
			t.Errorf("%s: built in %v, version %d", p.Code, p.BuiltIn, p.Version)
		}
		if final := p.Steps[len(p.Steps)-1]; !final.ByHand || final.Water {
			t.Errorf("%s ends with %s: the foaming bath is done by hand", p.Code, final.Name)
		}
	}
}

func TestRoles(t *testing.T) {
	t.Parallel()
	for code, want := range map[string][]string{
		// Order: Kodak TI2443 rev. 01-00, kit list.
		"reversal-6":  {"first-developer", "reversal-bath", "colour-developer", "pre-bleach", "bleach", "fixer", "stabiliser"},
		"reversal-3":  {"first-developer", "colour-developer", "bleach-fix", "stabiliser"},
		"c-41":        {"developer", "bleach", "fixer", "stabiliser"},
		"ecn-2":       {"prebath", "developer", "stop", "bleach", "fixer", "stabiliser"},
		"bw-negative": {"developer", "stop", "fixer", "clearing", "wetting-agent"},
		"bw-reversal": {"first-developer", "bleach", "clearing", "developer", "fixer", "wetting-agent"},
	} {
		if got := process(t, code).Roles(); !slices.Equal(got, want) {
			t.Errorf("%s: %v, want %v", code, got, want)
		}
	}
}

// US Army SS0514 (1994), p. 4-3: no wash between reversal bath and colour
// developer.
func TestNoWashAfterReversalBath(t *testing.T) {
	t.Parallel()
	steps := process(t, "reversal-6").Steps
	i := slices.IndexFunc(steps, func(s chemistry.Step) bool { return s.Role == "reversal-bath" })
	if next := steps[i+1]; next.Role != "colour-developer" {
		t.Errorf("the reversal bath is followed by %s", next.Name)
	}
}

func TestPublishedSteps(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		source          string
		process, role   string
		time            units.Duration
		lowest, highest units.Temperature
	}{
		{"Kodak Z-131, Tables 2-1 (second-hand) and 4-1", "c-41", "developer", ms(3, 15), 37_650, 37_950},
		{"Kodak Z-131, Table 2-1 (second-hand), longest", "c-41", "bleach", ms(6, 30), 35_000, 41_000},
		{"Kodak Z-131, Table 2-1 (second-hand)", "c-41", "fixer", ms(4, 20), 35_000, 41_000},
		{"Kodak Z-131, Table 2-1 (second-hand)", "c-41", "stabiliser", ms(1, 5), 24_000, 41_000},
		{"Kodak H-24.07 (second-hand)", "ecn-2", "developer", ms(3, 0), 41_000, 41_200},
		{"Kodak H-24.07 (second-hand)", "ecn-2", "stop", ms(0, 30), 27_000, 38_000},
		{"Kodak H-24.07 (second-hand), ferricyanide", "ecn-2", "bleach", ms(3, 0), 37_000, 39_000},
		{"Kodak H-24.07 (second-hand)", "ecn-2", "fixer", ms(2, 0), 37_000, 39_000},
		{"Schaller (2004)", "ecn-2", "prebath", ms(1, 0), 26_000, 28_000},
		{"Schaller (2004)", "ecn-2", "backing-removal", ms(0, 30), 24_000, 30_000},
		{"Z-119 (second-hand); tolerance from memory", "reversal-6", "first-developer", ms(6, 0), 37_500, 38_100},
		{"from memory", "reversal-6", "colour-developer", ms(6, 0), 37_400, 38_600},
		{"US Army SS0509, p. 18", "bw-negative", "clearing", ms(2, 0), 18_000, 24_000},
		{"US Army SS0509, p. 18", "bw-negative", "wetting-agent", ms(1, 0), 18_000, 24_000},
		{"common practice: one minute by hand", "reversal-6", "stabiliser", ms(1, 0), 20_000, 39_000},
	} {
		steps := process(t, c.process).Steps
		i := slices.IndexFunc(steps, func(s chemistry.Step) bool { return s.Role == c.role })
		if i < 0 {
			t.Errorf("%s has no %s", c.process, c.role)
			continue
		}
		s := steps[i]
		if s.Time != c.time || s.Lowest() != c.lowest || s.Highest() != c.highest {
			t.Errorf("%s %s: %s at %s to %s; %s has %s at %s to %s",
				c.process, c.role, s.Time, s.Lowest(), s.Highest(), c.source, c.time, c.lowest, c.highest)
		}
	}
}

func TestWetTimes(t *testing.T) {
	t.Parallel()
	const machine = 2 * (60 - 10) // prebath and final rinse take 0:10 in a machine, 1:00 by hand
	for _, c := range []struct {
		source  string
		process string
		want    units.Duration
	}{
		{"sum of Kodak Z-131, Table 2-1 (second-hand) with the 6:30 bleach", "c-41", ms(19, 30)},
		{"sum of Kodak H-24.07 (second-hand), 12:20, and the backing by hand", "ecn-2", ms(12, 20) + machine + 30},
		{"encyclopaedia: 26 min", "reversal-3", ms(26, 0)},
		{"from memory; an encyclopaedia has 32 min", "reversal-6", ms(33, 0)},
	} {
		p := process(t, c.process)
		developing, err := p.Developing(0, nil)
		if err != nil {
			t.Fatal(err)
		}
		if got := p.Schedule(0, developing, nil).Wet; got != c.want {
			t.Errorf("%s: %s, want %s (%s)", c.process, got, c.want, c.source)
		}
	}
}

func TestDeveloping(t *testing.T) {
	t.Parallel()
	own := func(d units.Duration) *units.Duration { return &d }
	for _, c := range []struct {
		behaviour string
		process   string
		push      int
		own       *units.Duration
		want      units.Duration
		fault     string
	}{
		{"normal: Kodak Z-131, Table 2-1", "c-41", 0, nil, ms(3, 15), ""},
		{"one stop: Kodak Z-131, Table 2-7 (second-hand)", "c-41", 1, nil, ms(3, 45), ""},
		{"two stops: Kodak Z-131, Table 2-7 (second-hand)", "c-41", 2, nil, ms(4, 15), ""},
		{"no pull in the table", "c-41", -1, nil, 0, "push-not-in-table"},
		{"no push beyond the table", "c-41", 3, nil, 0, "push-not-in-table"},
		{"colour goes by the table alone", "c-41", 0, own(ms(3, 15)), 0, "developing-by-table"},
		{"cine push: 3:40 to 4:00, journal paper (1982), second-hand", "ecn-2", 1, nil, ms(3, 50), ""},
		{"reversal pull, from memory", "reversal-6", -1, nil, ms(4, 15), ""},
		{"reversal push, from memory", "reversal-3", 1, nil, ms(8, 0), ""},
		{"the film's own time", "bw-negative", 0, own(ms(9, 30)), ms(9, 30), ""},
		{"has the push in it", "bw-negative", 2, own(ms(14, 0)), ms(14, 0), ""},
		{"has to be given", "bw-negative", 0, nil, 0, "developing-missing"},
		{"within the range", "bw-reversal", 0, own(ms(5, 59)), 0, "out-of-range"},
		{"nobody pushes four stops", "bw-negative", 4, own(ms(14, 0)), 0, "out-of-range"},
	} {
		got, err := process(t, c.process).Developing(c.push, c.own)
		var f chemistry.Fault
		errors.As(err, &f)
		if got != c.want || f.Code != c.fault {
			t.Errorf("%s: %s, %v; want %s, %q", c.behaviour, got, err, c.want, c.fault)
		}
	}
}

func TestProcessFaults(t *testing.T) {
	t.Parallel()
	type def = chemistry.ProcessDefinition
	for name, c := range map[string]struct {
		of     string
		change func(*def)
		at     string
		code   string
	}{
		"no code":                  {"c-41", func(d *def) { d.Code = "C 41" }, "/code", "code"},
		"no name":                  {"c-41", func(d *def) { d.Name = "" }, "/name", "length"},
		"unknown kind":             {"c-41", func(d *def) { d.Kind = "tintype" }, "/kind", "unknown"},
		"no source":                {"c-41", func(d *def) { d.Source = "" }, "/source", "length"},
		"no developer":             {"c-41", func(d *def) { d.Steps[0].Developer = false }, "/steps", "developer-missing"},
		"two developers":           {"c-41", func(d *def) { d.Steps[1].Developer = true }, "/steps/1/developer", "twice"},
		"a bath used twice":        {"c-41", func(d *def) { d.Steps[3].Role = "bleach" }, "/steps/3/role", "twice"},
		"no time":                  {"c-41", func(d *def) { d.Steps[3].Time = 0 }, "/steps/3/time", "out-of-range"},
		"drains longer than it is": {"c-41", func(d *def) { d.Steps[3].Drain = ms(5, 0) }, "/steps/3/drain", "out-of-range"},
		"boiling":                  {"c-41", func(d *def) { d.Steps[2].Temperature = 100_000 }, "/steps/2/temperature", "out-of-range"},
		"a wide tolerance":         {"c-41", func(d *def) { d.Steps[2].Tolerance = 20_001 }, "/steps/2/tolerance", "out-of-range"},
		"a step without a source":  {"c-41", func(d *def) { d.Steps[2].Source = "" }, "/steps/2/source", "length"},
		"no normal developing":     {"c-41", func(d *def) { d.Pushes = d.Pushes[1:] }, "/pushes", "normal-missing"},
		"normal unlike the step":   {"c-41", func(d *def) { d.Pushes[0].Developing = ms(3, 0) }, "/pushes/0/developing", "normal-differs"},
		"pushes out of order":      {"c-41", func(d *def) { d.Pushes[2].Developing = ms(3, 40) }, "/pushes/2", "order"},
		"a push too far":           {"c-41", func(d *def) { d.Pushes[2].Stops = 4 }, "/pushes/2/stops", "out-of-range"},
		"a range beside a table":   {"c-41", func(d *def) { d.DevelopingRange = &chemistry.DevelopingRange{Min: 1, Max: 2} }, "/developing_range", "developing-by-table"},
		"colour corrected": {"c-41", func(d *def) {
			d.Temperatures = []chemistry.TemperaturePoint{{Temperature: 20_000, Permille: 1000}, {Temperature: 21_000, Permille: 900}}
		}, "/temperatures", "colour-not-corrected"},
		"warmer and slower":          {"bw-negative", func(d *def) { d.Temperatures[1].Permille = 1001 }, "/temperatures/1", "order"},
		"a time where films have it": {"bw-negative", func(d *def) { d.Steps[0].Time = ms(8, 0) }, "/steps/0/time", "developing-by-film"},
		"no range":                   {"bw-negative", func(d *def) { d.DevelopingRange = nil }, "/developing_range", "missing"},
		"a range turned round":       {"bw-negative", func(d *def) { d.DevelopingRange = &chemistry.DevelopingRange{Min: 2, Max: 1} }, "/developing_range", "out-of-range"},
		"an empty caution":           {"bw-negative", func(d *def) { d.Cautions[0] = "" }, "/cautions/0", "length"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			d := process(t, c.of).ProcessDefinition
			d.Steps, d.Pushes, d.Temperatures = slices.Clone(d.Steps), slices.Clone(d.Pushes), slices.Clone(d.Temperatures)
			c.change(&d)
			if fs := d.Validate(); len(fs) != 1 || fs[0].Pointer != c.at || fs[0].Code != c.code {
				t.Errorf("%v, want %s at %s", fs, c.code, c.at)
			}
		})
	}
	if fs := (def{}).Validate(); len(fs) < 5 {
		t.Errorf("an empty process has %d faults", len(fs))
	}
}
