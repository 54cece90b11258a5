package api_test

import (
	"net/http"
	"testing"

	"wetside/api/apitest"
	"wetside/lab"
)

func TestKeeperSetsUpALab(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")

	got := keeper.Get(keeper.Path()).Want(http.StatusOK)
	l := apitest.As[lab.Lab](got)
	if l.Name != "Sallowmere Film Co-op" || l.TimeZone != "Europe/Lisbon" || l.AreaRule != lab.TradeArea {
		t.Errorf("lab is %+v", l)
	}
	changed := keeper.Patch(keeper.Path(), got.ETag(), map[string]any{"developing_tolerance_permille": 50}).Want(http.StatusOK)
	after := apitest.As[lab.Lab](changed)
	if after.DevelopingTolerancePermille != 50 || after.Name != l.Name || after.ScheduleVersion != l.ScheduleVersion+1 {
		t.Errorf("lab is %+v", after)
	}
}

func TestLabsThatCannotBe(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	setup := s.Setup(t)
	for name, row := range map[string]struct {
		change  map[string]any
		code    string
		pointer string
	}{
		"no zone":             {map[string]any{"time_zone": "Europe/Atlantis"}, "no-such-time-zone", "/time_zone"},
		"the machine's zone":  {map[string]any{"time_zone": "Local"}, "no-such-time-zone", "/time_zone"},
		"no currency":         {map[string]any{"currency": "ABC"}, "invalid", "/currency"},
		"the absent currency": {map[string]any{"currency": "XXX"}, "invalid", "/currency"},
		"name on two lines":   {map[string]any{"name": "A\nB"}, "invalid", "/name"},
		"keeper without name": {map[string]any{"keeper": "\u00a0"}, "invalid", "/keeper"},
		"room like an oven":   {map[string]any{"room_temperature": "90 °C"}, "invalid", "/room_temperature"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			in := map[string]any{"name": "Sallowmere", "time_zone": "Europe/Lisbon", "currency": "EUR", "keeper": "Ines Tarrow"}
			for k, v := range row.change {
				in[k] = v
			}
			p := setup.For(t).Post("/v1/labs", in).WantProblem(http.StatusUnprocessableEntity, row.code)
			if len(p.Errors) != 1 || p.Errors[0].Pointer != row.pointer {
				t.Errorf("faults are %+v", p.Errors)
			}
		})
	}
}

func TestSettingsAreTheKeepers(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	steward := s.Join(t, keeper, "Odo Marlish", lab.RoleSteward)
	tag := keeper.Get(keeper.Path()).ETag()
	steward.Patch(keeper.Path(), tag, map[string]any{"name": "Mine"}).WantProblem(http.StatusForbidden, "forbidden")
	keeper.Patch(keeper.Path(), tag, map[string]any{"time_zone": "Mars/Olympus"}).WantProblem(http.StatusUnprocessableEntity, "no-such-time-zone")
	keeper.Patch(keeper.Path(), tag, map[string]any{"currency": "USD"}).WantProblem(http.StatusBadRequest, "malformed")
	keeper.Patch(keeper.Path(), tag, map[string]any{"name": nil}).WantProblem(http.StatusBadRequest, "malformed")
	keeper.Patch(keeper.Path(), tag, map[string]any{"room_temperature": "17 °C", "area_rule": "geometric"}).Want(http.StatusOK)
}
