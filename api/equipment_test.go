package api_test

import (
	"net/http"
	"testing"

	"wetside/api/apitest"
	"wetside/lab"
	"wetside/lab/units"
)

func TestTanksTakeTheLabsReels(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	for _, reel := range []string{
		`{"code":"spiral-35","name":"Spiral for 35 mm","count":4,"height_mm":40,"solution_ml":300,"loading":"PT4M","drying":"PT2H"}`,
		`{"code":"spiral-8","name":"Spiral for small-gauge cine","count":2,"holds":1,"height_mm":400,"solution_ml":5000}`,
	} {
		keeper.Do(http.MethodPost, keeper.Path("reel-kinds"), reel).Want(http.StatusCreated)
	}
	keeper.Do(http.MethodPost, keeper.Path("reel-kinds"), `{"code":"spiral-35","name":"Again","count":1,"height_mm":40,"solution_ml":300}`).
		WantProblem(http.StatusConflict, "name-taken")
	reels := apitest.As[lab.List[lab.ReelKind]](keeper.Get(keeper.Path("reel-kinds")).Want(http.StatusOK))
	if len(reels.Items) != 2 || reels.Items[0].Holds != 1 || reels.Items[0].Loading != 4*units.Minute {
		t.Errorf("reels are %+v", reels.Items)
	}

	p := keeper.Do(http.MethodPost, keeper.Path("tanks"),
		`{"name":"Long tank","height_mm":250,"volume_ml":2000,"heater_w":600,"reel_kinds":["spiral-35","spiral-16","spiral-8"]}`).
		WantProblem(http.StatusUnprocessableEntity, "invalid")
	if len(p.Errors) != 2 || p.Errors[0].Pointer != "/reel_kinds/1" || p.Errors[0].Code != "unknown" || p.Errors[1].Code != "too-high" {
		t.Errorf("faults are %+v", p.Errors)
	}

	const long = `{"name":"Long tank","height_mm":250,"volume_ml":2000,"heater_w":600,"reel_kinds":["spiral-35"],"clean_up":"PT15M","flush":"PT10M"}`
	made := keeper.Do(http.MethodPost, keeper.Path("tanks"), long).Want(http.StatusCreated)
	keeper.Do(http.MethodPost, keeper.Path("tanks"), long).WantProblem(http.StatusConflict, "name-taken")
	path := made.Header("Location")
	before := apitest.As[lab.Lab](keeper.Get(keeper.Path())).ScheduleVersion
	changed := keeper.Patch(path, made.ETag(), map[string]any{"out_of_order": true, "flush": "PT20M"}).Want(http.StatusOK)
	got := apitest.As[lab.Tank](changed)
	if !got.OutOfOrder || got.Flush != 20*units.Minute || got.CleanUp != 15*units.Minute || got.Name != "Long tank" {
		t.Errorf("tank is %+v", got)
	}
	if after := apitest.As[lab.Lab](keeper.Get(keeper.Path())).ScheduleVersion; after != before+1 {
		t.Errorf("schedule_version went from %d to %d: plans made before would still be committed", before, after)
	}
	keeper.Patch(path, changed.ETag(), map[string]any{"reel_kinds": []string{"spiral-8"}}).WantProblem(http.StatusUnprocessableEntity, "invalid")
	if list := apitest.As[lab.List[lab.Tank]](keeper.Get(keeper.Path("tanks"))); len(list.Items) != 1 || list.Items[0].ID != got.ID {
		t.Errorf("tanks are %+v", list.Items)
	}
}

func TestMembersLookAtEquipmentAndLeaveIt(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	member := s.Join(t, keeper, "Bram Quillon")
	made := keeper.Do(http.MethodPost, keeper.Path("cabinets"), cabinet).Want(http.StatusCreated)
	member.Get(made.Header("Location")).Want(http.StatusOK)
	member.Get(keeper.Path("cabinets")).Want(http.StatusOK)
	member.Do(http.MethodPost, keeper.Path("cabinets"), cabinet).WantProblem(http.StatusForbidden, "forbidden")
	member.Patch(made.Header("Location"), made.ETag(), map[string]any{"out_of_order": true}).WantProblem(http.StatusForbidden, "forbidden")
	keeper.Do(http.MethodPost, keeper.Path("cabinets"), cabinet).WantProblem(http.StatusConflict, "name-taken")
	other := keeper.Do(http.MethodPost, keeper.Path("cabinets"), `{"name":"Loft","positions":1,"drop_mm":900,"drying":"PT1H"}`).Want(http.StatusCreated)
	keeper.Patch(other.Header("Location"), other.ETag(), map[string]any{"name": "By the window"}).WantProblem(http.StatusConflict, "name-taken")
	keeper.Patch(other.Header("Location"), other.ETag(), map[string]any{"drying": "PT0S"}).WantProblem(http.StatusUnprocessableEntity, "invalid")
}
