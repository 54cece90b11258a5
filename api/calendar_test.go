package api_test

import (
	"net/http"
	"testing"

	"wetside/api/apitest"
	"wetside/lab"
	"wetside/scheduling"
)

// The calendar and the question for the first session, as a steward and a
// member have them by HTTP.
func TestCalendarByHTTP(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	var tank lab.Tank
	keeper.Post(keeper.Path("reel-kinds"), `{"code":"spiral-35","name":"35 mm","count":4,"holds":1,"height_mm":40,"solution_ml":250,"loading":"PT2M","drying":"PT2H"}`).Want(http.StatusCreated)
	keeper.Post(keeper.Path("tanks"), `{"name":"Tank","height_mm":205,"volume_ml":1500,"heater_w":500,"reel_kinds":["spiral-35"],"clean_up":"PT10M","flush":"PT5M"}`).Want(http.StatusCreated).Into(&tank)

	var o scheduling.ChangedOpening
	made := keeper.Post(keeper.Path("openings"), `{"rule":"FREQ=DAILY","starts":"18:00","lasts":"PT3H","tank":"`+tank.ID+`","operator":"`+keeper.MemberID+`"}`)
	made.Want(http.StatusCreated).Into(&o)
	keeper.Post(keeper.Path("openings"), `{"rule":"FREQ=WEEKLY","starts":"20:00","lasts":"PT3H","tank":"`+tank.ID+`","operator":"`+keeper.MemberID+`"}`).
		WantProblem(http.StatusConflict, "openings-overlap")
	keeper.Post(keeper.Path("openings"), `{"rule":"FREQ=DAILY;UNTIL=20301231T220000","starts":"06:00","lasts":"PT3H","tank":"`+tank.ID+`","operator":"`+keeper.MemberID+`"}`).
		WantProblem(http.StatusUnprocessableEntity, "invalid")

	var c scheduling.ChangedCalendar
	keeper.With("If-Match", "*").With("Content-Type", "application/merge-patch+json").
		Do(http.MethodPatch, keeper.Path("calendar"), `{"days_ahead":10}`).Want(http.StatusOK).Into(&c)
	if n := len(c.Change.Sessions); n < 9 || n > 10 || len(c.Opened) != 1 {
		t.Errorf("ten days ahead have %d sessions, opened %v", n, c.Opened)
	}
	keeper.Get(keeper.Path("calendar")).Want(http.StatusOK)
	day := c.Opened[0].UntilDay
	var closure scheduling.ChangedClosure
	keeper.Post(keeper.Path("closures"), `{"from_day":"`+day+`","reason":"Holiday"}`).Want(http.StatusCreated).Into(&closure)
	if len(closure.Change.CalledOff) != 1 {
		t.Errorf("closing a day changes %+v", closure.Change)
	}
	keeper.Post(keeper.Path("closures"), `{"from_day":"2020-01-01","reason":"Long ago"}`).WantProblem(http.StatusConflict, "day-over")
	keeper.Get(keeper.Path("closures")).Want(http.StatusOK)
	keeper.Post(keeper.Path("closures", closure.ID, "ending"), nil).Want(http.StatusOK)

	var extra scheduling.ChangedExtraDay
	keeper.Post(keeper.Path("extra-days"), `{"opening":"`+o.ID+`","day":"`+day+`","starts":"10:00"}`).Want(http.StatusCreated).Into(&extra)
	keeper.Get(keeper.Path("extra-days")).Want(http.StatusOK)
	keeper.Post(keeper.Path("extra-days", extra.ID, "cancellation"), nil).Want(http.StatusOK)

	var found scheduling.Availability
	keeper.Post(keeper.Path("availability"), `{"films":[{"format":"135-36","process":"c-41","count":1}]}`).Want(http.StatusUnprocessableEntity)
	keeper.Post(keeper.Path("cabinets"), `{"name":"A","positions":8,"drop_mm":1700,"drying":"PT4H"}`).Want(http.StatusCreated)
	keeper.Post(keeper.Path("availability"), `{"films":[{"format":"135-36","process":"c-41","count":1}]}`).Want(http.StatusOK).Into(&found)
	if len(found.Offers) != 0 || len(found.PassedOver) < 9 { // there is no chemistry
		t.Errorf("found %+v", found)
	}
	keeper.Post(keeper.Path("availability"), `{"films":[{"format":"135-36","process":"c-41","count":1}],"from":"2030-01-01T00:00:00"}`).
		WantProblem(http.StatusBadRequest, "malformed")

	changed := keeper.With("If-Match", made.ETag()).With("Content-Type", "application/merge-patch+json").
		Do(http.MethodPatch, keeper.Path("openings", o.ID), `{"starts":"17:00"}`)
	changed.Want(http.StatusOK).Into(&o)
	if len(o.Change.Changed) < 9 {
		t.Errorf("an hour earlier changes %d sessions", len(o.Change.Changed))
	}
	keeper.With("If-Match", changed.ETag()).Do(http.MethodPost, keeper.Path("openings", o.ID, "ending"), nil).Want(http.StatusOK)
}
