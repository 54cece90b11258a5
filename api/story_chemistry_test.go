package api_test

import (
	"net/http"
	"slices"
	"testing"

	"wetside/api/apitest"
	"wetside/chemistry"
	"wetside/scheduling"
)

// chemistry looks at what the runs left behind: readings, an override, a trace
// both ways, and waste.
func (s *story) chemistry(t *testing.T) {
	steward := s.steward.For(t)
	runs := list[scheduling.Run](t, s.steward, "runs")
	at := slices.IndexFunc(runs, func(r scheduling.Run) bool { return r.Outcome == scheduling.RunSpoiled })
	spoiled := runs[at]
	if o := spoiled.Override; o == nil || o.Because == "" || len(o.Against) != 1 || len(spoiled.Readings) != 1 {
		t.Fatalf("the spoiled run was recorded as %+v", spoiled)
	}
	if w := spoiled.Readings[0].Warnings; len(w) != 1 || w[0].Code != "temperature" || w[0].Source == "" {
		t.Errorf("its readings warn of %+v", w)
	}
	if p := s.refusal(t, "developer-out-of-tolerance").Problem; p.Status != http.StatusUnprocessableEntity {
		t.Errorf("without an override it was refused with %+v", p)
	}
	for _, run := range runs {
		if run.RunSheet.Process == "c-41" && !slices.ContainsFunc(run.Readings[0].Warnings, func(w chemistry.Warning) bool { return w.Code == "control-action" }) {
			t.Errorf("a strip 0.07 off in LD warns of %+v", run.Readings[0].Warnings)
		}
	}
	more := apitest.As[scheduling.RunReading](steward.Post(steward.Path("runs", spoiled.ID, "readings"), map[string]any{"note": "the heater's fuse was replaced"}).Want(http.StatusCreated))
	if more.Reading.Note == "" || len(more.Warnings) != 0 {
		t.Errorf("%+v", more)
	}

	roll := spoiled.RunSheet.Rolls[0].Roll
	trace := func(of string) scheduling.Trace {
		return apitest.As[scheduling.Trace](steward.Get(steward.Path("trace") + "?of=" + of).Want(http.StatusOK))
	}
	from := trace(roll)
	if len(from.Kits) != 1 || from.Kits[0].ID != s.Kits["reversal-first"] || len(from.Baths) != 7 || len(from.Runs) < 2 || len(from.Rolls) < 4 {
		t.Errorf("from the spoiled roll: %+v", from)
	}
	for _, of := range []string{from.Kits[0].ID, from.Baths[3].ID, from.Runs[0].ID, from.Rolls[0].ID} {
		if back := trace(of); !slices.ContainsFunc(back.Rolls, func(r scheduling.TracedRoll) bool { return r.ID == roll && r.Run == spoiled.ID }) {
			t.Errorf("from %s the spoiled roll is not found", of)
		}
	}
	if q := from.Baths[0].Quarantines; len(q) != 1 || q[0].LiftedAt == nil || q[0].By != s.People["tomasz"] {
		t.Errorf("its first developer was kept as %+v", q)
	}
	s.farida.For(t).Get(s.farida.Path("trace")+"?of="+roll).WantProblem(http.StatusForbidden, "forbidden")
	steward.Get(steward.Path("trace")+"?of=roll_1").WantProblem(http.StatusBadRequest, "malformed")

	thrown, poured := map[chemistry.WasteKind]int{}, int64(0)
	for _, w := range list[chemistry.Waste](t, s.steward, "waste") {
		if w.Bath != "" {
			thrown[w.Kind]++
		} else if w.Kind == chemistry.DeveloperWaste {
			poured += w.VolumeML
		}
	}
	for _, set := range list[chemistry.BathSet](t, s.steward, "bath-sets") {
		if b := set.Baths[0]; b.Use == chemistry.OneShot && b.VolumeML-b.VolumeLeftML != poured {
			t.Errorf("%d mL of one-shot developer are gone, %d were logged", b.VolumeML-b.VolumeLeftML, poured)
		}
	}
	if thrown[chemistry.SilverBearing] != 2 || thrown[chemistry.DeveloperWaste] != 2 || thrown[chemistry.BleachWaste] != 1 || thrown[chemistry.OtherWaste] != 2 {
		t.Errorf("the closed kit's baths went out as %v", thrown)
	}
	batches := list[scheduling.Batch](t, s.steward, "batches")
	planned := slices.IndexFunc(batches, func(b scheduling.Batch) bool { return b.Status == scheduling.BatchPlanned && b.Process == "c-41" })
	steward.Get(steward.Path("batches", batches[planned].ID, "run-sheet")+"?developer_temperature=36%20%C2%B0C").
		WantProblem(http.StatusUnprocessableEntity, "developer-out-of-tolerance")
	steward.Get(steward.Path("batches", batches[planned].ID, "run-sheet")+"?developer_temperature=100%20%C2%B0F").
		WantProblem(http.StatusBadRequest, "temperature-not-celsius")
	sheet := apitest.As[scheduling.RunSheet](steward.Get(steward.Path("batches", batches[planned].ID, "run-sheet") + "?developer_temperature=37.8%20%C2%B0C").Want(http.StatusOK))
	if step := sheet.Steps[0]; step.SolutionML == 0 || step.Source == "" || step.Working[len(step.Working)-1].Permille != 1000 {
		t.Errorf("%+v", step)
	}
}
