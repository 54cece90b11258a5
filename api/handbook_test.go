package api_test

import (
	"net/http"
	"testing"

	"wetside/api/apitest"
	"wetside/chemistry"
	"wetside/lab"
	"wetside/lab/units"
)

func TestFilmIsMeasured(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	keeper.Do(http.MethodPost, keeper.Path("cabinets"), cabinet).Want(http.StatusCreated)
	measure := func(query string) *apitest.Response { return keeper.Get(keeper.Path("formats", query)) }
	m := apitest.As[chemistry.FilmMeasured](measure("cine-8-15m/measure").Want(http.StatusOK))
	if m.RollPermille != 2355 || m.Cine.Frames != 3600 || m.Cine.RunningTimes[1].Time != 200 || len(m.Hanging) != 1 || m.Hanging[0].Positions == 0 {
		t.Errorf("50 ft of small-gauge film are %+v", m)
	}
	if m := apitest.As[chemistry.FilmMeasured](measure("135-bulk/measure?length_mm=810").Want(http.StatusOK)); m.RollPermille != 500 || m.Cine != nil {
		t.Errorf("half a roll from bulk is %+v", m)
	}
	measure("120/measure?length_mm=700").WantProblem(http.StatusUnprocessableEntity, "invalid")
	measure("none/measure").WantProblem(http.StatusNotFound, "not-found")
}

func TestTheHandbookNamesItsSources(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	member := s.Join(t, s.Found(t, "Sallowmere Film Co-op"), "Bram Quillon")
	tables := apitest.As[lab.List[chemistry.HandbookTable]](member.Get(member.Path("handbook")).Want(http.StatusOK)).Items
	if len(tables) != len(chemistry.Handbook()) || len(tables) < 10 {
		t.Errorf("%d tables", len(tables))
	}
	for _, table := range tables {
		if table.Source == "" || table.Status == "" || len(table.Rows) == 0 {
			t.Errorf("%+v", table)
		}
		for _, row := range table.Rows {
			if len(row) != len(table.Columns) {
				t.Errorf("%s: %v under %v", table.Code, row, table.Columns)
			}
		}
	}
	never := member.Get(member.Path("incompatibilities")).Want(http.StatusOK)
	var got struct {
		Items    []chemistry.Incompatibility `json:"items"`
		Cautions []string                    `json:"cautions"`
	}
	never.Into(&got)
	if len(got.Items) < 5 || got.Cautions[len(got.Cautions)-1] != chemistry.SafetyFirst {
		t.Errorf("must not be mixed: %+v", got)
	}
}

// sixBaths is a kit of a litre whose parts are as a published kit's.
func sixBaths() map[string]any {
	baths := []map[string]any{}
	for _, p := range chemistry.BuiltInProcesses() {
		if p.Code != "reversal-6" {
			continue
		}
		for _, role := range p.Roles() {
			baths = append(baths, map[string]any{"role": role, "use": "reused", "volume_ml": 1000, "life": "P28D", "concentrates": chemistry.ReversalConcentrates(role)})
		}
	}
	return map[string]any{"name": "Six baths, 1 L", "process": "reversal-6", "price": units.Money{Amount: 5000, Currency: "EUR"}, "bought_on": "2026-01-02",
		"portions": 1, "mix": "PT30M", "unopened_until": "2099-01-02T00:00:00Z", "opened_life": "P90D", "rated_area_mm2": 400000,
		"share_rule": "by_area", "unused_falls_on": "users", "baths": baths}
}

func TestAKitsMixingTable(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	treasurer := s.Join(t, keeper, "Bram Quillon", lab.RoleTreasurer)
	kit := treasurer.Post(treasurer.Path("kits"), sixBaths()).Want(http.StatusCreated).Header("Location")
	table := apitest.As[chemistry.MixingTable](treasurer.Get(kit + "/mixing-table?volume_ml=350").Want(http.StatusOK))
	if len(table.Baths) != 7 || table.Baths[1].Measures[0].TenthsML != 88 || len(table.Cautions) < 4 {
		t.Fatalf("%+v", table)
	}
	for _, b := range table.Baths {
		sum := b.StartWaterTenths + b.FillUpWaterTenths
		for _, m := range b.Measures {
			sum += m.TenthsML
		}
		if sum != 3500 {
			t.Errorf("the %s comes to %d tenths of a mL", b.Role, sum)
		}
	}
	if whole := apitest.As[chemistry.MixingTable](treasurer.Get(kit + "/mixing-table").Want(http.StatusOK)); whole.VolumeML != 1000 {
		t.Errorf("a portion is %d mL", whole.VolumeML)
	}
	treasurer.Get(kit+"/mixing-table?volume_ml=0").WantProblem(http.StatusBadRequest, "malformed")
}

func TestBadChemistryHasProblemTypesOfItsOwn(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	steward := s.Join(t, keeper, "Ana Quay", lab.RoleSteward, lab.RoleTreasurer)
	kit := func(change func(map[string]any, []map[string]any)) map[string]any {
		k := sixBaths()
		change(k, k["baths"].([]map[string]any))
		return k
	}
	process := func(role, temperature, second string) string {
		return `{"code":"ours","name":"Ours","kind":"colour_negative","source":"measured","pushes":[{"stops":0,"developing":"PT3M"},{"stops":1,"developing":"` + second + `"}],
			"steps":[{"role":"developer","name":"Developer","time":"PT3M","temperature":"` + temperature + `","tolerance":"0.2 °C","developer":true,"source":"measured"},
			{` + role + `"name":"Bleach","time":"PT3M","temperature":"38 °C","tolerance":"1 °C","source":"measured"}]}`
	}
	for name, c := range map[string]struct {
		path   string
		body   any
		status int
		code   string
	}{
		"a step without a bath":    {"processes", process("", "38 °C", "PT4M"), 422, "step-without-bath"},
		"a table not increasing":   {"processes", process(`"role":"bleach",`, "38 °C", "PT2M"), 422, "table-not-increasing"},
		"a temperature in °F":      {"processes", process(`"role":"bleach",`, "100 °F", "PT4M"), 400, "temperature-not-celsius"},
		"a temperature in no unit": {"processes", process(`"role":"bleach",`, "38", "PT4M"), 400, "malformed"},
		"a bath missing":           {"kits", kit(func(k map[string]any, b []map[string]any) { k["baths"] = b[:6] }), 422, "step-without-bath"},
		"parts that overflow": {"kits", kit(func(_ map[string]any, b []map[string]any) {
			b[0]["concentrates"] = []chemistry.Concentrate{{Name: "A", ULPerL: 600_000}, {Name: "B", ULPerL: 400_001}}
		}), 422, "portions-do-not-add-up"},
		"portions beyond the kit": {"kits", kit(func(k map[string]any, b []map[string]any) {
			k["portions"] = 2
			b[0]["concentrates"] = []map[string]any{{"name": "A", "ul_per_l": 200000, "in_kit_ml": 399}}
		}), 422, "portions-do-not-add-up"},
		"corrections not in order": {"kits", kit(func(_ map[string]any, b []map[string]any) {
			b[0]["correction"] = []map[string]int{{"mm2_per_l": 0, "permille": 1100}, {"mm2_per_l": 9, "permille": 1000}}
		}), 422, "table-not-increasing"},
		"faults of different kinds": {"kits", kit(func(k map[string]any, b []map[string]any) {
			k["baths"] = b[:6]
			k["portions"] = 1
			k["bought_on"] = "2026-02-30"
		}), 400, "malformed"},
	} {
		p := steward.Post(steward.Path(c.path), c.body).WantProblem(c.status, c.code)
		if c.code != "malformed" && (p.Errors == nil || p.Errors[0].Pointer == "") {
			t.Errorf("%s: %+v", name, p)
		}
	}
	if kits := apitest.As[lab.List[chemistry.Kit]](steward.Get(steward.Path("kits"))); len(kits.Items) != 0 {
		t.Errorf("refused kits were entered: %+v", kits.Items)
	}
	steward.Get(steward.Path("processes", "ours")).WantProblem(http.StatusNotFound, "not-found")
}

func TestARunKeepsTheVersionOfItsProcess(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	steward := s.Join(t, s.Found(t, "Sallowmere Film Co-op"), "Ana Quay", lab.RoleSteward)
	at := steward.Path("processes", "c-41")
	first := apitest.As[chemistry.Process](steward.Get(at).Want(http.StatusOK))
	own := first.ProcessDefinition
	own.Name = "Colour negative, our way"
	steward.Post(steward.Path("processes"), own).Want(http.StatusCreated)
	if now := apitest.As[chemistry.Process](steward.Get(at)); now.Version != 2 || now.Name != own.Name {
		t.Errorf("newest is %+v", now)
	}
	if then := apitest.As[chemistry.Process](steward.Get(at + "?version=1").Want(http.StatusOK)); then.Name != first.Name || len(then.Disagreements) == 0 {
		t.Errorf("version 1 is %+v", then)
	}
	steward.Get(at+"?version=3").WantProblem(http.StatusNotFound, "not-found")
}

func TestAProcessWithACurveAndLimits(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	steward := s.Join(t, s.Found(t, "Sallowmere Film Co-op"), "Ana Quay", lab.RoleSteward)
	own := apitest.As[chemistry.Process](steward.Get(steward.Path("processes", "bw-negative")).Want(http.StatusOK)).ProcessDefinition
	own.Code, own.Temperatures = "bw-curved", nil
	own.Curve = &chemistry.TemperatureCurve{RatePermille: 81, Lowest: 16_000, Highest: 25_000, Source: "fitted by the lab"}
	own.Control = []chemistry.ControlLimit{{Measure: "contrast", ActionHundredths: 3, ControlHundredths: 6, Source: "the lab's rule"}}
	own.Disagreements = []chemistry.Disagreement{{Field: "/curve/rate_permille", Taken: "0.081", Otherwise: "0.069", Source: "notes on rate"}}
	made := apitest.As[chemistry.Process](steward.Post(steward.Path("processes"), own).Want(http.StatusCreated))
	if made.Curve == nil || made.Curve.RatePermille != 81 || len(made.Control) != 1 || len(made.Disagreements) != 1 {
		t.Errorf("%+v", made)
	}
	own.Control[0].ControlHundredths = 2
	steward.Post(steward.Path("processes"), own).WantProblem(http.StatusUnprocessableEntity, "table-not-increasing")
	own.Control, own.Temperatures = nil, []chemistry.TemperaturePoint{{Temperature: 20_000, Permille: 1000}, {Temperature: 24_000, Permille: 700}}
	steward.Post(steward.Path("processes"), own).WantProblem(http.StatusUnprocessableEntity, "invalid")
}
