package checker_test

import (
	"time"

	"wetside/lab/units"
	"wetside/scheduling/planner"
)

var elsewhere = time.FixedZone("elsewhere", 5*3600+1800)

func ptr[T any](v T) *T { return &v }

func hold(roll, session string) planner.Hold { return planner.Hold{Roll: roll, Session: session} }

func duration(s string) units.Duration {
	d, err := units.ParseDuration(s)
	if err != nil {
		panic(err)
	}
	return d
}

func span(from, to string) planner.Span { return planner.Span{From: duration(from), To: duration(to)} }

func reels(count int64, kind string) planner.ReelUse {
	return planner.ReelUse{Kind: kind, Count: count}
}

func placed(roll, cabinet string, dry time.Time) planner.Placement {
	return planner.Placement{Roll: roll, Cabinet: cabinet, DryAt: dry}
}

func leftOut(roll, code, session string) planner.LeftOut {
	return planner.LeftOut{Roll: roll, Reasons: []planner.Reason{{Code: code, Session: session, Detail: "as said"}}}
}

var shapeBreaches = map[string]breach{
	"a batch in no session":   {0, `session "nowhere"`, func(w *week) { w.batch("b1").Session = "nowhere" }},
	"a batch in no tank":      {0, `tank "bucket"`, func(w *week) { w.batch("b1").Tank = "bucket" }},
	"a batch in another tank": {0, `is of tank small-tank, not "big-tank"`, func(w *week) { w.batch("b1").Tank = "big-tank" }},
	"a batch of no class":     {0, `class "e6"`, func(w *week) { w.batch("b1").Class = "e6" }},
	"a batch in no bath set":  {0, `bath set "tea"`, func(w *week) { w.batch("b1").BathSet = "tea" }},
	"an unknown reel":         {0, `reel kind "spool"`, func(w *week) { w.batch("b1").Reels[0].Kind = "spool" }},
	"an unknown cabinet":      {0, `cabinet "line"`, func(w *week) { w.batch("b1").Rolls[0].Cabinet = "line" }},
	"an unknown roll": {0, `roll "nobody"`, func(w *week) {
		b := w.batch("b1")
		b.Rolls = append(b.Rolls, placed("nobody", "cupboard", b.Rolls[0].DryAt))
	}},
	"a roll that a frozen batch holds": {0, `roll "f1"`, func(w *week) {
		b := w.batch("b1")
		b.Rolls = append(b.Rolls, placed("f1", "cupboard", b.Rolls[0].DryAt))
	}},
	"an unknown roll left out": {0, "roll nobody: left out, but not in the problem", func(w *week) {
		w.plan.LeftOut = append(w.plan.LeftOut, leftOut("nobody", planner.ReasonReels, ""))
	}},
	"a roll left out without a word": {0, "without a reason", func(w *week) { w.plan.LeftOut[0].Reasons = nil }},
	"a reason that means nothing":    {0, `"mood"`, func(w *week) { w.plan.LeftOut[0].Reasons[0].Code = "mood" }},
	"a reason in no session":         {0, `"nowhere"`, func(w *week) { w.plan.LeftOut[1].Reasons[0].Session = "nowhere" }},
	"two batches of one id":          {0, "another batch has this id", func(w *week) { w.batch("b2").ID = "b1" }},
	"a frozen batch's id":            {0, "another batch has this id", func(w *week) { w.batch("b2").ID = "stands-1" }},
	"a batch without an id":          {0, "no id", func(w *week) { w.batch("b2").ID = "" }},
	"a batch of no rolls": {0, "no rolls", func(w *week) {
		w.plan.Batches = append(w.plan.Batches, planner.Batch{
			ID: "b6", Session: "mon-big", Tank: "big-tank", Process: "bw", Class: "bw-n", BathSet: "bw-set",
		})
	}},
	"no reels of a kind":  {0, "takes 0 reels of kind reel-120", func(w *week) { w.batch("b1").Reels[1].Count = 0 }},
	"fewer than no reels": {0, "takes -1 reels", func(w *week) { w.batch("b1").Reels[1].Count = -1 }},
	"a kind listed twice": {0, "listed twice", func(w *week) {
		w.batch("b3").Reels = []planner.ReelUse{reels(2, "reel-35"), reels(1, "reel-35")}
	}},
	"half a second": {0, "not a whole second", func(w *week) {
		w.batch("b5").Clear = w.batch("b5").Clear.Add(500 * time.Millisecond)
	}},
}

var classBreaches = map[string]breach{
	"classes that share with no other": {1, "class bw-n shares with no other", func(w *week) { w.class("bw-n").Shareable = false }},
	"developing times a little too far apart": {1, "PT6M and PT6M36S are more than 99 ‰ apart", func(w *week) {
		w.TolerancePermille = 99
	}},
	"no tolerance given": {1, "more than 0 ‰", func(w *week) { w.TolerancePermille = 0 }},
	"classes of two processes": {1, "of processes other and bw", func(w *week) {
		c := *w.class("bw-n")
		c.ID, c.Process = "bw-x", "other"
		w.Classes = append(w.Classes, c)
		w.roll("k1").Class, w.roll("k2").Class = "bw-x", "bw-x"
	}},
	"run by the shorter class": {1, "runs by class bw-n, and should by bw-p", func(w *week) {
		w.batch("b1").Class = "bw-n"
		shiftEnd(w.batch("b1"), -units.Minute)
	}},
	"run by the higher id of two as long": {1, "should by bw-n", func(w *week) { w.class("bw-p").Developing = duration("PT6M") }},
	"another process than its class's":    {1, `says process "c41"`, func(w *week) { w.batch("b1").Process = "c41" }},
	"a roll of no class":                  {1, `class "e6"`, func(w *week) { w.roll("k1").Class = "e6" }},
}

var fitBreaches = map[string]breach{
	"a reel the tank does not take": {2, "does not take reels of kind reel-120", func(w *week) {
		w.tank("small-tank").Reels = []string{"reel-35"}
	}},
	"a reel too few":  {2, "takes 2 reels of kind reel-35, its rolls need 3", func(w *week) { w.batch("b3").Reels[0].Count = 2 }},
	"a reel too many": {2, "takes 2 reels of kind reel-35, its rolls need 1", func(w *week) { w.batch("b4").Reels[0].Count = 2 }},
	"a kind missing":  {2, "takes 0 reels of kind reel-120", func(w *week) { w.batch("b4").Reels = w.batch("b4").Reels[:1] }},
	"a kind no roll needs": {2, "takes 1 reels of kind holder, its rolls need 0", func(w *week) {
		w.batch("b4").Reels = append(w.batch("b4").Reels, reels(1, "holder"))
	}},
	"a sheet more than the holder holds": {2, "its rolls need 2", func(w *week) { w.reel("holder").Holds = 3 }},
	"a millimetre too high":              {2, "reels stack to 155 mm, tank small-tank takes 154 mm", func(w *week) { w.tank("small-tank").HeightMM = 154 }},
	"a tank a millilitre too small":      {2, "1100 mL to cover them, tank small-tank takes 1099", func(w *week) { w.tank("small-tank").VolumeML = 1099 }},
	"a bath a millilitre too small":      {2, "bath bw-fix is 1099 mL", func(w *week) { w.bath("bw-fix").VolumeML = 1099 }},
}

var dryingBreaches = map[string]breach{
	"a cabinet that does not take the film": {7, `roll k1: cabinet rack does not take film hung as "strip"`, func(w *week) {
		w.batch("b1").Rolls[0] = placed("k1", "rack", at("03 00:37:00"))
	}},
	"dry a second early":        {7, "roll w1: dry_at is", func(w *week) { w.batch("b4").Rolls[0].DryAt = at("04 23:19:59") }},
	"dry a second late":         {7, "roll w1: dry_at is", func(w *week) { w.batch("b4").Rolls[0].DryAt = at("04 23:20:01") }},
	"a position too few":        {7, "6 positions taken in cabinet cupboard", func(w *week) { w.cabinet("cupboard").Positions = 5 }},
	"a sheet too many":          {7, "4 positions taken in cabinet rack", func(w *week) { w.cabinet("rack").Positions = 3 }},
	"film that takes more room": {7, "5 positions taken in cabinet rack", func(w *week) { w.cabinet("rack").Takes["long"] = 5 }},
	"frozen film a second too long in the way": {7, "7 positions taken in cabinet cupboard at 2026-03-02T21:42:00Z", func(w *week) {
		w.Frozen[0].End = at("02 17:42:01")
	}},
}

var holdBreaches = map[string]breach{
	"booked elsewhere":            {8, "roll w1: booked in session mon-big", func(w *week) { w.roll("w1").Booked = "mon-big" }},
	"pinned elsewhere":            {8, "roll k1: pinned to session mon-big", func(w *week) { w.Pins = append(w.Pins, hold("k1", "mon-big")) }},
	"banned from its session":     {8, "roll k1: banned from session mon-small", func(w *week) { w.Bans = append(w.Bans, hold("k1", "mon-small")) }},
	"banned from the plan":        {8, "roll k1: banned from the plan", func(w *week) { w.Bans = append(w.Bans, hold("k1", "")) }},
	"handed in a second too late": {8, "roll k1: handed in at", func(w *week) { w.roll("k1").HandedIn = at("02 17:55:01") }},
	"handed in a moment too late": {8, "roll k1: handed in at", func(w *week) {
		w.roll("k1").HandedIn = at("02 17:55:00").Add(time.Millisecond)
	}},
	"a process the session does not allow": {8, "batch b4: session wed-big does not allow process c41", func(w *week) {
		w.session("wed-big").Processes = []string{"bw"}
	}},
	"a roll forgotten": {8, "roll s5: neither placed nor left out", func(w *week) { w.plan.LeftOut = w.plan.LeftOut[1:] }},
	"placed and left out": {8, "roll c1: placed or left out 2 times", func(w *week) {
		w.plan.LeftOut = append(w.plan.LeftOut, leftOut("c1", planner.ReasonReels, ""))
	}},
	"left out twice": {8, "roll s5: placed or left out 2 times", func(w *week) {
		w.plan.LeftOut = append(w.plan.LeftOut, leftOut("s5", planner.ReasonReels, ""))
	}},
	"twice in a batch": {8, "roll s1: placed or left out 2 times", func(w *week) {
		w.batch("b2").Rolls = append(w.batch("b2").Rolls, w.batch("b2").Rolls[0])
	}},
	"in two batches": {8, "roll k2: placed or left out 2 times", func(w *week) {
		b := w.batch("b2")
		b.Rolls = append(b.Rolls, placed("k2", "cupboard", at("02 23:27:00")))
		b.Reels = append(b.Reels, reels(1, "reel-35"))
		// Room for its double everywhere else.
		w.reel("reel-35").Count = 6
		w.bath("bw-dev").VolumeML = 2700
		w.bath("bw-fix").AreaLeftMM2 = ptr[int64](309677)
		w.cabinet("cupboard").Positions = 7
	}},
}
