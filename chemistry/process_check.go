package chemistry

import (
	"fmt"

	"wetside/lab/units"
)

// The longest that one step, and one process, may take.
const (
	longestStep    = 4 * units.Hour
	mostSteps      = 40
	hottest        = 60 * units.DegreeCelsius
	mostPermille   = 5_000
	leastPermille  = 200
	mostCautions   = 20
	mostTemperates = 40
)

// Validate says what is wrong with a lab's own process; nothing if it is sound.
func (d ProcessDefinition) Validate() []Fault {
	var fs faults
	fs.code("/code", d.Code)
	fs.text("/name", d.Name, 200)
	if !d.Kind.Known() {
		fs.add("/kind", "unknown", "want colour_reversal, colour_negative, bw_negative or bw_reversal, not %q", d.Kind)
	}
	d.checkSteps(&fs)
	d.checkDeveloping(&fs)
	d.checkTemperatures(&fs)
	d.checkCurve(&fs)
	d.checkControl(&fs)
	fs.between("/cautions", int64(len(d.Cautions)), 0, mostCautions)
	for i, c := range d.Cautions {
		fs.text(fmt.Sprintf("/cautions/%d", i), c, 500)
	}
	fs.text("/source", d.Source, 500)
	return fs
}

func (d ProcessDefinition) checkSteps(fs *faults) {
	if len(d.Steps) == 0 || len(d.Steps) > mostSteps {
		fs.add("/steps", "length", "want 1 to %d steps, not %d", mostSteps, len(d.Steps))
		return
	}
	roles, developers := map[string]bool{}, 0
	for i, s := range d.Steps {
		at := fmt.Sprintf("/steps/%d", i)
		s.check(fs, at, s.Developer && d.FilmDeveloping)
		if !s.Water && roles[s.Role] {
			fs.add(at+"/role", "twice", "the bath %q is used in two steps: give the second one a role of its own", s.Role)
		}
		roles[s.Role] = roles[s.Role] || !s.Water
		if !s.Developer {
			continue
		}
		if developers++; developers > 1 {
			fs.add(at+"/developer", "twice", "only one step is the one that push acts on")
		}
		if s.Water {
			fs.add(at+"/water", "developer-of-water", "a developer is not water")
		}
	}
	if developers == 0 {
		fs.add("/steps", "developer-missing", "mark the step that push and developing time act on as developer")
	}
}

func (s Step) check(fs *faults, at string, timeByFilm bool) {
	if s.Role == "" && !s.Water {
		fs.add(at+"/role", "step-without-bath", "the step %q names no bath and is not of water", s.Name)
	} else {
		fs.code(at+"/role", s.Role)
	}
	fs.text(at+"/name", s.Name, 100)
	if timeByFilm {
		if s.Time != 0 {
			fs.add(at+"/time", "developing-by-film", "each roll states its developing time: leave this at PT0S")
		}
	} else if s.Time < 1 || s.Time > longestStep {
		fs.add(at+"/time", "out-of-range", "want PT1S to %s, not %s", longestStep, s.Time)
	}
	if s.Shortest < 0 || s.Shortest > s.Time && s.Time > 0 {
		fs.add(at+"/shortest", "out-of-range", "want at most the step's own %s, not %s", s.Time, s.Shortest)
	}
	if s.Longest < 0 || s.Longest != 0 && s.Longest < s.Time || s.Longest > longestStep {
		fs.add(at+"/longest", "out-of-range", "want the step's own %s to %s, not %s", s.Time, longestStep, s.Longest)
	}
	if s.Temperature <= 0 || s.Temperature > hottest {
		fs.add(at+"/temperature", "out-of-range", "want above 0 °C to %s, not %s", hottest, s.Temperature)
	}
	if s.Tolerance < 0 || s.Tolerance > 20*units.DegreeCelsius {
		fs.add(at+"/tolerance", "out-of-range", "want 0 °C to 20 °C, not %s", s.Tolerance)
	}
	if s.Drain < 0 || s.Drain > s.Time && s.Time > 0 {
		fs.add(at+"/drain", "out-of-range", "draining is inside the step: want PT0S to %s, not %s", s.Time, s.Drain)
	}
	if len([]rune(s.Agitation)) > 500 {
		fs.add(at+"/agitation", "length", "want at most 500 characters")
	}
	fs.text(at+"/source", s.Source, 500)
}

func (d ProcessDefinition) checkDeveloping(fs *faults) {
	if d.FilmDeveloping {
		if !d.Kind.BlackAndWhite() {
			fs.add("/film_developing", "colour-by-table", "colour develops by its table of pushes")
		}
		if len(d.Pushes) != 0 {
			fs.add("/pushes", "developing-by-film", "each roll states its developing time, push included: leave the table out")
		}
		if r := d.DevelopingRange; r == nil {
			fs.add("/developing_range", "missing", "say which developing times rolls may state")
		} else if r.Min < 1 || r.Max < r.Min || r.Max > longestStep {
			fs.add("/developing_range", "out-of-range", "want PT1S or more, then at most %s, not %s to %s", longestStep, r.Min, r.Max)
		}
		return
	}
	if d.DevelopingRange != nil {
		fs.add("/developing_range", "developing-by-table", "the developing times are those of the table of pushes: leave the range out")
	}
	normal := false
	for i, row := range d.Pushes {
		at := fmt.Sprintf("/pushes/%d", i)
		fs.between(at+"/stops", int64(row.Stops), FurthestPull, FurthestPush)
		if row.Developing < 1 || row.Developing > longestStep {
			fs.add(at+"/developing", "out-of-range", "want PT1S to %s, not %s", longestStep, row.Developing)
		}
		if i > 0 && (row.Stops <= d.Pushes[i-1].Stops || row.Developing <= d.Pushes[i-1].Developing) {
			fs.add(at, "order", "more push develops longer: list the pushes in order of stops")
		}
		if row.Stops == 0 {
			normal = true
			if s := (Process{ProcessDefinition: d}).DeveloperStep(); s.Developer && s.Time != row.Developing {
				fs.add(at+"/developing", "normal-differs", "without push the developer takes its own time, %s, not %s", s.Time, row.Developing)
			}
		}
	}
	if !normal {
		fs.add("/pushes", "normal-missing", "the table needs a row for 0 stops")
	}
}

func (d ProcessDefinition) checkControl(fs *faults) {
	fs.between("/control", int64(len(d.Control)), 0, 20)
	for i, c := range d.Control {
		at := fmt.Sprintf("/control/%d", i)
		fs.text(at+"/measure", c.Measure, 40)
		fs.between(at+"/action_hundredths", c.ActionHundredths, 0, 400)
		fs.between(at+"/control_hundredths", c.ControlHundredths, 0, 400)
		if c.ControlHundredths < c.ActionHundredths {
			fs.add(at, "order", "the control limit is no nearer than the action limit")
		}
		fs.text(at+"/source", c.Source, 500)
	}
	fs.between("/disagreements", int64(len(d.Disagreements)), 0, 20)
	for i, c := range d.Disagreements {
		at := fmt.Sprintf("/disagreements/%d", i)
		for name, text := range map[string]string{"field": c.Field, "taken": c.Taken, "otherwise": c.Otherwise, "source": c.Source} {
			fs.text(at+"/"+name, text, 500)
		}
	}
}
