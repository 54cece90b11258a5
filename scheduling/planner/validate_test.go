package planner_test

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"wetside/lab/units"
	"wetside/scheduling/planner"
)

func TestValidateFindsFaults(t *testing.T) {
	t.Parallel()
	cases := map[string]struct {
		spoil   func(p *planner.Problem)
		pointer string
	}{
		"empty horizon":             {func(p *planner.Problem) { p.Horizon.End = p.Horizon.Start }, "/horizon"},
		"horizon within a second":   {func(p *planner.Problem) { p.Horizon.Start = p.Horizon.Start.Add(1) }, "/horizon"},
		"horizon of years":          {func(p *planner.Problem) { p.Horizon.End = p.Horizon.Start.AddDate(3, 0, 0) }, "/horizon"},
		"budget below zero":         {func(p *planner.Problem) { p.Search.Budget = -1 }, "/search/budget"},
		"iterations below zero":     {func(p *planner.Problem) { p.Search.Iterations = -1 }, "/search/iterations"},
		"no such level":             {func(p *planner.Problem) { p.Search.UpTo = 7 }, "/search/up_to_level"},
		"tolerance below zero":      {func(p *planner.Problem) { p.TolerancePermille = -1 }, "/developing_tolerance_permille"},
		"tank twice":                {func(p *planner.Problem) { p.Tanks[1].ID = p.Tanks[0].ID }, "/tanks/1/id"},
		"tank without id":           {func(p *planner.Problem) { p.Tanks[0].ID = "" }, "/tanks/0/id"},
		"tank without height":       {func(p *planner.Problem) { p.Tanks[0].HeightMM = 0 }, "/tanks/0/height_mm"},
		"tank with unknown reel":    {func(p *planner.Problem) { p.Tanks[0].Reels[1] = "none" }, "/tanks/0/reels/1"},
		"warm-up below zero":        {func(p *planner.Problem) { p.Tanks[0].WarmUp["a/b~"] = -1 }, "/tanks/0/warm_up/a~1b~0"},
		"reels below zero":          {func(p *planner.Problem) { p.Reels[0].Count = -1 }, "/reels/0/count"},
		"drying for years":          {func(p *planner.Problem) { p.Reels[0].Drying = 5000 * units.Day }, "/reels/0/drying"},
		"film that takes no room":   {func(p *planner.Problem) { p.Cabinets[0].Takes["strip"] = 0 }, "/cabinets/0/takes/strip"},
		"session of unknown tank":   {func(p *planner.Problem) { p.Sessions[2].Tank = "none" }, "/sessions/2/tank"},
		"session that never ends":   {func(p *planner.Problem) { p.Sessions[0].End = p.Sessions[0].Start }, "/sessions/0/end"},
		"session far away":          {func(p *planner.Problem) { p.Sessions[0].End = monday.AddDate(500, 0, 0) }, "/sessions/0/end"},
		"sessions that overlap":     {func(p *planner.Problem) { p.Sessions[2].Window = p.Sessions[0].Window }, "/sessions/2/start"},
		"class without process":     {func(p *planner.Problem) { p.Classes[0].Process = "" }, "/classes/0/process"},
		"class without wet time":    {func(p *planner.Problem) { p.Classes[3].Wet = 0 }, "/classes/3/wet"},
		"step after the end":        {func(p *planner.Problem) { p.Classes[0].Steps[1].Begins = 2 * units.Hour }, "/classes/0/steps/1/begins"},
		"hands out of order":        {func(p *planner.Problem) { p.Classes[0].Hands[0].To = 1 }, "/classes/0/hands/0"},
		"bath below zero":           {func(p *planner.Problem) { p.Baths[0].VolumeML = -1 }, "/baths/0/volume_ml"},
		"bath that carries nothing": {func(p *planner.Problem) { p.Baths[0].RunMM2PerL = ptr(int64(0)) }, "/baths/0/run_mm2_per_l"},
		"area that overflows":       {func(p *planner.Problem) { p.Baths[0].AreaLeftMM2 = ptr(int64(1 << 62)) }, "/baths/0/area_left_mm2"},
		"set of unknown bath":       {func(p *planner.Problem) { p.BathSets[0].Baths[1] = "none" }, "/bath_sets/0/baths/1"},
		"bath twice in a set":       {func(p *planner.Problem) { p.BathSets[0].Baths[1] = p.BathSets[0].Baths[0] }, "/bath_sets/0/baths/1"},
		"bath born twice":           {func(p *planner.Problem) { p.BathSets[3].Baths[0] = p.BathSets[2].Baths[0] }, "/bath_sets/3/baths/0"},
		"price below zero":          {func(p *planner.Problem) { p.BathSets[2].Mix.PriceMinor = -1 }, "/bath_sets/2/mix/price_minor"},
		"roll of unknown class":     {func(p *planner.Problem) { p.Rolls[3].Class = "none" }, "/rolls/3/class"},
		"roll on unknown reel":      {func(p *planner.Problem) { p.Rolls[3].Reel = "none" }, "/rolls/3/reel"},
		"roll without area":         {func(p *planner.Problem) { p.Rolls[3].AreaMM2 = 0 }, "/rolls/3/area_mm2"},
		"weight that overflows":     {func(p *planner.Problem) { p.Rolls[3].Weight = 1 << 40 }, "/rolls/3/weight"},
		"roll twice":                {func(p *planner.Problem) { p.Rolls[3].ID = p.Rolls[0].ID }, "/rolls/3/id"},
		"booked to unknown session": {func(p *planner.Problem) { p.Rolls[3].Booked = "none" }, "/rolls/3/booked"},
		"handed in an age ago":      {func(p *planner.Problem) { p.Rolls[3].HandedIn = time.Time{} }, "/rolls/3/handed_in"},
		"pin of unknown roll":       {func(p *planner.Problem) { p.Pins = []planner.Hold{{Roll: "none", Session: "tall-0"}} }, "/pins/0/roll"},
		"pin without session":       {func(p *planner.Problem) { p.Pins = []planner.Hold{{Roll: "r000"}} }, "/pins/0/session"},
		"pins of a roll to two sessions": {func(p *planner.Problem) {
			p.Rolls[0].Booked = ""
			p.Pins = []planner.Hold{{Roll: "r000", Session: "tall-0"}, {Roll: "r000", Session: "tall-2"}}
		}, "/pins/1"},
		"pin against booking": {func(p *planner.Problem) {
			p.Rolls[0].Booked = "tall-0"
			p.Pins = []planner.Hold{{Roll: "r000", Session: "tall-2"}}
		}, "/pins/0"},
		"ban against booking": {func(p *planner.Problem) {
			p.Rolls[0].Booked = "tall-0"
			p.Bans = []planner.Hold{{Roll: "r000", Session: "tall-0"}}
		}, "/bans/0"},
		"ban from all against pin": {func(p *planner.Problem) {
			p.Rolls[0].Booked = ""
			p.Pins = []planner.Hold{{Roll: "r000", Session: "tall-2"}}
			p.Bans = []planner.Hold{{Roll: "r000"}}
		}, "/bans/0"},
		"two places before": {func(p *planner.Problem) {
			p.Previous = []planner.Hold{{Roll: "r000"}, {Roll: "r000", Session: "tall-0"}}
		}, "/previous/1/roll"},
		"frozen out of order": {func(p *planner.Problem) {
			p.Frozen = []planner.FrozenBatch{{Batch: planner.Batch{ID: "f", Session: "tall-0", Tank: "tall", Class: "c41", BathSet: "c1", Start: monday, Wet: monday, End: monday.Add(2), Clear: monday.Add(1)}}}
		}, "/frozen/0"},
		"frozen on a kit nobody mixed": {func(p *planner.Problem) {
			p.Frozen = []planner.FrozenBatch{{Batch: planner.Batch{ID: "f", Session: "tall-0", Tank: "tall", Class: "c41", BathSet: "c2", Start: monday, Wet: monday, End: monday, Clear: monday}}}
		}, "/frozen/0/bath_set"},
		"frozen and to be planned": {func(p *planner.Problem) {
			p.Frozen = []planner.FrozenBatch{{Batch: planner.Batch{ID: "f", Session: "tall-0", Tank: "tall", Class: "c41", BathSet: "c1", Start: monday, Wet: monday, End: monday, Clear: monday}, Films: p.Rolls[:1]}}
		}, "/frozen/0/films/0/id"},
		"too many rolls": {func(p *planner.Problem) {
			for len(p.Rolls) <= planner.MaxRolls {
				p.Rolls = append(p.Rolls, p.Rolls[0])
			}
		}, "/rolls"},
	}
	if faults := week(12, 1).Validate(); len(faults) > 0 {
		t.Fatalf("a sound problem has faults: %v", faults)
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			p := week(12, 1)
			c.spoil(p)
			faults := p.Validate()
			if !slices.ContainsFunc(faults, func(f planner.Fault) bool { return f.Pointer == c.pointer && f.Detail != "" }) {
				t.Errorf("faults %v, want one at %s", faults, c.pointer)
			}
			var invalid *planner.InvalidError
			if _, err := planner.Solve(t.Context(), p, nil); !errors.As(err, &invalid) || len(invalid.Faults) != len(faults) {
				t.Errorf("Solve gave %v", err)
			}
		})
	}
}

func TestDecodeProblem(t *testing.T) {
	t.Parallel()
	const head = `{"horizon":{"start":"2026-03-02T00:00:00Z","end":"2026-03-03T00:00:00Z"}`
	p, err := planner.DecodeProblem(strings.NewReader(head + `,"search":{"seed":3,"budget":"PT1S"}} `))
	if err != nil || p.Search.Seed != 3 || p.Search.Budget != units.Second {
		t.Errorf("decoded %+v, %v", p, err)
	}
	for name, text := range map[string]string{
		"nothing": "", "unknown field": head + `,"surprise":1}`, "more after it": head + `} {}`, "cut short": head,
		"no problem": `[]`, "seconds as a number": head + `,"search":{"budget":5}}`,
	} {
		if _, err := planner.DecodeProblem(strings.NewReader(text)); err == nil {
			t.Errorf("%s: decoded", name)
		}
	}
}
