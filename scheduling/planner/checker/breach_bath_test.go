package checker_test

import (
	"time"

	"wetside/lab/units"
	"wetside/scheduling/planner"
)

var capacityBreaches = map[string]breach{
	"a set of another process": {3, "bath set bw-set does not serve process bw", func(w *week) {
		w.set("bw-set").Processes = []string{"c41"}
	}},
	"a step without a bath": {3, "no bath for the step fixer", func(w *week) { w.set("bw-set").Baths = []string{"bw-dev"} }},
	"a bath that is not there": {3, `bath "ghost" of set bw-set`, func(w *week) {
		w.set("bw-set").Baths = append(w.set("bw-set").Baths, "ghost")
	}},
	"a run of more film than the bath carries": {3, "3000 mL of bath old-dev carry 154836 mm²", func(w *week) {
		w.bath("old-dev").RunMM2PerL = ptr[int64](51612)
	}},
	"a run of more film than the tank's fill carries": {3, "2999 mL of bath old-dev", func(w *week) {
		w.tank("big-tank").VolumeML = 2999
	}},
	"a bath that carries nothing": {3, "carry 0 mm²", func(w *week) { w.bath("bw-fix").RunMM2PerL = ptr[int64](0) }},
	"a bath without a step carries it too": {3, "bath rinse carry", func(w *week) {
		w.Baths = append(w.Baths, planner.Bath{ID: "rinse", Role: "rinse", VolumeML: 5000, RunMM2PerL: ptr[int64](10)})
		w.set("bw-set").Baths = append(w.set("bw-set").Baths, "rinse")
	}},
	"a square millimetre too little left": {3, "bath bw-fix has 258063 mm² left, its runs take 258064 mm²", func(w *week) {
		w.bath("bw-fix").AreaLeftMM2 = ptr[int64](258063)
	}},
	"a run too few left, frozen ones counted": {3, "bath bw-fix has 2 runs left, it is in 3", func(w *week) {
		w.bath("bw-fix").RunsLeft = ptr[int64](2)
	}},
	"one-shot solution a millilitre short": {3, "one-shot bath bw-dev is 2399 mL, its runs draw 2400 mL", func(w *week) {
		w.bath("bw-dev").VolumeML = 2399
	}},
	"one-shot solution drawn for the film's sake": {3, "its runs draw 2475 mL", func(w *week) {
		w.bath("bw-dev").RunMM2PerL = ptr[int64](140_000) // 369 + 1106 + 1000
	}},
	"a run over another set's shared bath": {3, "bath bw-fix has 3 runs left, it is in 4", func(w *week) {
		w.set("c41-old").Baths = append(w.set("c41-old").Baths, "bw-fix")
		w.bath("bw-fix").AreaLeftMM2 = nil
	}},
	"a bath in two runs at once": {3, "bath bw-fix is in batches b1 and b2 at once", func(w *week) {
		w.session("mon-big").Operator = "op-c"
		shift(w.batch("b2"), -units.Second)
	}},
}

var lifeBreaches = map[string]breach{
	"a first step a second too late": {4, "step developer begins at 2026-03-02T21:02:00Z, bath old-dev expires", func(w *week) {
		w.bath("old-dev").ExpiresAt = ptr(at("02 21:01:59"))
	}},
	"a later step a second too late": {4, "batch b1: step fixer begins at 2026-03-02T18:16:00Z", func(w *week) {
		w.bath("bw-fix").ExpiresAt = ptr(at("02 18:15:59"))
	}},
	"a mixed kit's life a second too short": {4, "batch b5: step developer", func(w *week) {
		w.bath("new-dev").Life = ptr(duration("PT2H59M59S"))
	}},
	"a kit nobody mixes": {4, "batch b4: it is the first to use set c41-new and does not mix it", func(w *week) {
		b := w.batch("b4")
		b.Mixes = false
		b.Wet = b.Wet.Add(-40 * time.Minute)
		shiftEnd(b, -40*units.Minute)
		w.bath("new-dev").Life = nil
		w.level("chemistry").Value = 200
	}},
	"a kit mixed twice": {4, "batch b5: it mixes set c41-new, which batch b4 uses before", func(w *week) {
		w.session("wed-big").End = at("04 23:00:00")
		w.bath("new-dev").Life = nil
		b := w.batch("b5")
		b.Mixes = true
		b.Wet = b.Wet.Add(40 * time.Minute)
		shiftEnd(b, 40*units.Minute)
		w.level("chemistry").Value = 8600
		w.level("finish").Value += 2400
	}},
	"mixing what is mixed": {4, "batch b3: it mixes set c41-old, which is mixed already", func(w *week) { w.batch("b3").Mixes = true }},
	"a second user a second before it is mixed": {4, "batch b5: it starts at 2026-03-04T17:39:59Z", func(w *week) {
		w.besideWednesday(at("04 17:39:59"))
	}},
	"a kit a second past its shelf life": {4, "batch b4: it mixes kit kit-7", func(w *week) {
		w.set("c41-new").Mix.By = ptr(at("04 16:59:59"))
	}},
	"a kit that a frozen batch mixes later": {4, "it mixes set c41-new, which batch stands-2 mixes", func(w *week) {
		w.bath("new-dev").Life = nil
		w.Frozen = append(w.Frozen, planner.FrozenBatch{Batch: planner.Batch{
			ID: "stands-2", Session: "wed-small", Tank: "small-tank", Process: "c41", Class: "c41-n", BathSet: "c41-new",
			Mixes: true, Start: at("04 22:00:00"), Wet: at("04 23:10:00"), End: at("04 23:50:00"), Clear: at("04 23:59:00"),
		}})
	}},
	"a kit that a frozen batch mixed before": {4, "which batch stands-2 uses before", func(w *week) {
		w.bath("new-dev").Life = nil
		w.Frozen = append(w.Frozen, planner.FrozenBatch{Batch: planner.Batch{
			ID: "stands-2", Session: "wed-small", Tank: "small-tank", Process: "c41", Class: "c41-n", BathSet: "c41-new",
			Mixes: true, Start: at("04 12:00:00"), Wet: at("04 13:10:00"), End: at("04 13:50:00"), Clear: at("04 14:05:00"),
		}})
	}},
}

var reelBreaches = map[string]breach{
	"a reel too few in stock": {5, "5 reels of kind reel-35 in use or wet at 2026-03-02T20:02:00Z, the lab has 4", func(w *week) {
		w.reel("reel-35").Count = 4
	}},
	"a reel a second too wet": {5, "batch b3: 6 reels of kind reel-35", func(w *week) {
		w.reel("reel-35").Drying = duration("PT2H22M1S")
	}},
	"no such reel in stock": {5, "1 reels of kind holder", func(w *week) { w.reel("holder").Count = 0 }},
}

var timeBreaches = map[string]breach{
	"wet a second early":          {6, "batch b3: wet is", func(w *week) { w.batch("b3").Wet = at("02 21:01:59") }},
	"wet a second late":           {6, "batch b2: wet is", func(w *week) { w.batch("b2").Wet = at("02 18:57:01") }},
	"an end a second late":        {6, "batch b5: end is", func(w *week) { shiftEnd(w.batch("b5"), 1); w.level("finish").Value++ }},
	"clear a second early":        {6, "batch b5: clear is", func(w *week) { w.batch("b5").Clear = at("04 21:41:59") }},
	"a clean-up a second longer":  {6, "batch b5: clear is", func(w *week) { w.tank("big-tank").CleanUp++ }},
	"warm-up a second longer":     {6, "batch b5: wet is", func(w *week) { w.tank("big-tank").WarmUp["c41"]++ }},
	"loading a second longer":     {6, "batch b1: wet is", func(w *week) { w.reel("reel-120").Loading++ }},
	"mixing a second longer":      {6, "batch b4: wet is", func(w *week) { w.set("c41-new").Mix.Takes++ }},
	"a second before its session": {6, "session mon-small begins", func(w *week) { w.session("mon-small").Start = at("02 17:55:01") }},
	"a second after its session":  {6, "session mon-big ends", func(w *week) { w.session("mon-big").End = at("02 22:01:59") }},
	"a second before the horizon": {6, "the horizon begins", func(w *week) {
		w.Horizon.Start = at("02 17:55:01")
		w.level("finish").Value -= 64501
	}},
	"a second after the horizon": {6, "batch b5: it is clear at", func(w *week) {
		w.Horizon.End = at("04 21:41:59")
		w.level("lateness").Value -= 8 // x1 is then left out before it is due
	}},
	"a tank not yet clear of a frozen batch": {6, "tank small-tank is clear of batch stands-1 only at 2026-03-02T17:55:01Z", func(w *week) {
		w.Frozen[0].Clear = at("02 17:55:01")
	}},
	"a tank not yet flushed": {6, "tank big-tank is clear and flushed of batch b2", func(w *week) { w.tank("big-tank").Flush++ }},
	"by hand while loading elsewhere": {6, "operator op-a is busy with batches b1 and b2 at once", func(w *week) {
		w.class("bw-p").Hands[0].To++
	}},
	"mixing while loading elsewhere": {6, "batch b4: operator op-b is busy with batches b4 and stands-2 at once", func(w *week) {
		w.Sessions = append(w.Sessions, planner.Session{
			ID: "wed-small", Tank: "small-tank", Operator: "op-b",
			Window: planner.Window{Start: at("04 17:00:00"), End: at("04 22:00:00")},
		})
		w.Frozen = append(w.Frozen, planner.FrozenBatch{Batch: planner.Batch{
			ID: "stands-2", Session: "wed-small", Tank: "small-tank", Process: "bw", Reels: []planner.ReelUse{reels(1, "reel-120")},
			Start: at("04 17:39:59"), Wet: at("04 17:49:59"), End: at("04 18:20:00"), Clear: at("04 18:35:00"),
		}})
	}},
}

var worthBreaches = map[string]breach{
	"a level missing":  {9, "5 levels are given", func(w *week) { w.plan.Levels = w.plan.Levels[:5] }},
	"a level too many": {9, "7 levels are given", func(w *week) { w.plan.Levels = append(w.plan.Levels, w.plan.Levels[0]) }},
	"no levels":        {9, "0 levels are given", func(w *week) { w.plan.Levels = nil }},
	"levels in another order": {9, `level 1 is "lateness"`, func(w *week) {
		l := w.plan.Levels
		l[0], l[1] = l[1], l[0]
	}},
	"a level by another name":     {9, `level 4 is "batches"`, func(w *week) { w.level("runs").Name = "batches" }},
	"a level in another unit":     {9, `in "minutes"`, func(w *week) { w.level("finish").Unit = "minutes" }},
	"a bound above the value":     {9, "level runs: bound 6 is above the value 5", func(w *week) { w.level("runs").Bound = 6 }},
	"a booked roll not displaced": {9, "level displaced: value 0 is claimed, it is 1", func(w *week) { *w.level("displaced") = level(0, 0) }},
	"a pinned roll is displaced too": {9, "level displaced: value 1 is claimed, it is 2", func(w *week) {
		w.Pins = append(w.Pins, hold("s5", "mon-big"))
	}},
	"a day less late":         {9, "level lateness: value 55 is claimed, it is 56", func(w *week) { w.level("lateness").Value-- }},
	"late by a second":        {9, "level lateness: value 56 is claimed, it is 57", func(w *week) { w.roll("c2").Due = ptr(at("03 01:41:59")) }},
	"weighed more":            {9, "level lateness: value 56 is claimed, it is 58", func(w *week) { w.roll("c1").Weight = 4 }},
	"left out weighs":         {9, "level lateness: value 56 is claimed, it is 74", func(w *week) { w.roll("x1").Weight = 3 }},
	"left out a day earlier":  {9, "level lateness: value 56 is claimed, it is 58", func(w *week) { w.roll("x1").Due = ptr(at("04 00:00:00")) }},
	"a kit's price forgotten": {9, "level chemistry: value 200 is claimed, it is 4400", func(w *week) { w.level("chemistry").Value = 200 }},
	"a bath's waste forgotten": {9, "level chemistry: value 4200 is claimed, it is 4400", func(w *week) {
		w.level("chemistry").Value = 4200
	}},
	"waste of what now outlives the horizon": {9, "level chemistry: value 4400 is claimed, it is 4200", func(w *week) {
		w.bath("old-dev").ExpiresAt = ptr(at("09 00:00:01"))
	}},
	"waste by the scarcest bath": {9, "level chemistry: value 4400 is claimed, it is 4300", func(w *week) {
		w.bath("old-blix").AreaLeftMM2 = ptr[int64](204839)
	}},
	"a run uncounted":    {9, "level runs: value 4 is claimed, it is 5", func(w *week) { w.level("runs").Value-- }},
	"a second too soon":  {9, "level finish: value 264119 is claimed", func(w *week) { w.level("finish").Value-- }},
	"a change uncounted": {9, "level changes: value 1 is claimed, it is 2", func(w *week) { w.level("changes").Value-- }},
	"a roll placed anew": {9, "level changes: value 2 is claimed, it is 3", func(w *week) { w.Previous = append(w.Previous, hold("k2", "")) }},
}

// level is the first level at another value.
func level(value, bound int64) planner.Level {
	return planner.Level{Name: "displaced", Value: value, Bound: bound, Unit: "rolls"}
}
