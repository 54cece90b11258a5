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
