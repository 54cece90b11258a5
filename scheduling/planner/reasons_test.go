package planner_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"wetside/lab/units"
	"wetside/scheduling/planner"
	"wetside/scheduling/planner/checker"
)

func TestLeftOutSaysWhyAndWhatWouldHelp(t *testing.T) {
	t.Parallel()
	hour := func(h int) time.Time { return monday.Add(time.Duration(h) * time.Hour) }
	cases := map[string]struct {
		rolls  int
		change func(p *planner.Problem)
		code   string
		detail string // contained in the reason's
		want   string // contained in the change
	}{
		"reels still wet": {5, func(p *planner.Problem) {
			p.Tanks[0].HeightMM = 300
		}, planner.ReasonReels, "needs 1 small-gauge reel, 0 dry at 2 Mar 18:00", "one more small-gauge reel"},
		"no reel of the kind": {1, func(p *planner.Problem) {
			p.Reels[0].Count = 0
		}, planner.ReasonReelKind, "the lab has no small-gauge reel", ""},
		"tank does not take the reel": {1, func(p *planner.Problem) {
			p.Tanks[0].Reels = nil
		}, planner.ReasonReelKind, "tank tank takes no small-gauge reel", ""},
		"reel higher than the tank": {1, func(p *planner.Problem) {
			p.Reels[0].HeightMM = 201
		}, planner.ReasonTankHeight, "stack to 201 mm, tank tank takes 200 mm", ""},
		"solution does not cover": {1, func(p *planner.Problem) {
			p.Baths[0].VolumeML = 299
		}, planner.ReasonSolution, "need 300 mL to cover them, bath set set in tank tank gives 299 mL", ""},
		"too much film for the volume": {1, func(p *planner.Problem) {
			p.Baths[0].RunMM2PerL = ptr(int64(20_000))
		}, planner.ReasonRunArea, "would hold 1.0 roll-equivalents, bath set set carries 0.7 in one", ""},
		"bath nearly used up": {1, func(p *planner.Problem) {
			p.Rolls[0].AreaMM2 = 122_000
			p.Baths[0].AreaLeftMM2 = ptr(int64(24_000))
		}, planner.ReasonBathCapacity, "bath set set has 0.4 roll-equivalents left, needs 2.4", "room for 1.9 more roll-equivalents in bath set set"},
		"no run left": {1, func(p *planner.Problem) {
			p.Baths[0].RunsLeft = ptr(int64(0))
		}, planner.ReasonBathCapacity, "bath set set has no run left", "roll-equivalents in bath set set"},
		"bath dead": {1, func(p *planner.Problem) {
			p.Baths[0].ExpiresAt = ptr(hour(18))
		}, planner.ReasonBathLife, "bath set set is dead", ""},
		"no bath": {1, func(p *planner.Problem) {
			p.BathSets = nil
		}, planner.ReasonNoBath, "no bath set has all the baths of c41", ""},
		"session too short": {1, func(p *planner.Problem) {
			p.Sessions[0].End = hour(18).Add(50 * time.Minute)
		}, planner.ReasonSessionTime, "a run takes 1 h, the session is 50 min", "session mon longer by 15 min"},
		"handed in too late": {1, func(p *planner.Problem) {
			p.Rolls[0].HandedIn = hour(19).Add(30 * time.Minute)
		}, planner.ReasonHandedIn, "2 Mar 19:30", "session mon longer by 30 min"},
		"no hanging position": {3, func(p *planner.Problem) {
			p.Cabinets[0].Positions = 2
		}, planner.ReasonCabinet, "needs 1 hanging position, 0 free from 2 Mar", "1 more hanging position in cabinet cabinet"},
		"banned": {1, func(p *planner.Problem) {
			p.Bans = []planner.Hold{{Roll: "r00", Session: "mon"}}
		}, planner.ReasonBanned, "", ""},
		"process not allowed": {1, func(p *planner.Problem) {
			p.Sessions[0].Processes = []string{"e6"}
		}, planner.ReasonNoSession, "", ""},
		"held to a session that cannot": {1, func(p *planner.Problem) {
			s := p.Sessions[0]
			s.ID, s.Processes, s.Window = "tue", []string{"e6"}, planner.Window{Start: hour(42), End: hour(44)}
			p.Sessions = append(p.Sessions, s)
			p.Rolls[0].Booked = "tue"
		}, planner.ReasonBookedElse, "held to session tue", ""},
		"operator elsewhere": {5, func(p *planner.Problem) {
			s, tank := p.Sessions[0], p.Tanks[0]
			s.ID, s.Tank, tank.ID = "other", "second", "second"
			p.Sessions[0].End, s.End = hour(19), hour(19)
			p.Sessions, p.Tanks = append(p.Sessions, s), append(p.Tanks, tank)
			p.Reels[0].Count, p.Reels[0].Loading = 9, 10*units.Minute
			p.Tanks[0].HeightMM, p.Tanks[1].HeightMM = 80, 80
			p.Baths[0].OneShot, p.Baths[0].VolumeML = true, 9_000
		}, planner.ReasonOperator, "op is needed at another run", "session other longer by 30 min"},
		"bath in another tank": {6, func(p *planner.Problem) {
			s, tank := p.Sessions[0], p.Tanks[0]
			s.ID, s.Tank, s.Operator, tank.ID = "other", "second", "second", "second"
			p.Sessions[0].End, s.End = hour(19), hour(19)
			p.Sessions, p.Tanks = append(p.Sessions, s), append(p.Tanks, tank)
			p.Reels[0].Count = 9
		}, planner.ReasonBathBusy, "bath set set is in other runs", "longer"},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			p := evening(c.rolls)
			c.change(p)
			plan, err := planner.Solve(t.Context(), p, nil)
			if err != nil {
				t.Fatal(err)
			}
			for _, v := range checker.Check(p, plan) {
				t.Errorf("rule %d: %s", v.Rule, v.Detail)
			}
			if len(plan.LeftOut) == 0 {
				t.Fatal("nothing is left out")
			}
			out := plan.LeftOut[0]
			if !slices.ContainsFunc(out.Reasons, func(r planner.Reason) bool { return r.Code == c.code && strings.Contains(r.Detail, c.detail) }) {
				t.Errorf("reasons %+v, want %s with %q", out.Reasons, c.code, c.detail)
			}
			if !strings.Contains(out.Change, c.want) || c.want == "" && out.Change != "" {
				t.Errorf("change %q, want %q", out.Change, c.want)
			}
		})
	}
}
