package api_test

import (
	"testing"

	"wetside/api/apitest"
	"wetside/scheduling"
)

// calendars reads a member's calendar: it has the hour at which their film is
// dry, of what is planned and of what has run.
func (s *story) calendars(t *testing.T) {
	c := s.farida.For(t)
	made := apitest.As[scheduling.FeedMade](c.Post(c.Path("feeds"), `{"of":"member"}`).Want(201))
	shown := calendar(t, c.WithToken(""), made.Path)
	seen := 0
	for _, roll := range apitest.As[struct{ Items []scheduling.Roll }](c.Get(c.Path("rolls") + "?limit=200").Want(200)).Items {
		if roll.Batch == nil || roll.DryAt == nil {
			continue
		}
		seen++
		// The latest of the member's rolls in the batch counts.
		if e, ok := shown[*roll.Batch+"-"+c.MemberID+"@wetside"]; !ok || e.Status != "CONFIRMED" || e.Start.Before(roll.DryAt.Truncate(1e9)) {
			t.Errorf("roll %s is dry at %s, the calendar has %+v", roll.ID, roll.DryAt, e)
		}
	}
	if seen == 0 {
		t.Error("nothing of hers is to be dry")
	}
}
