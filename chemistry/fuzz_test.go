package chemistry_test

import (
	"encoding/json"
	"testing"

	"pgregory.net/rapid"

	"wetside/chemistry"
	"wetside/lab/units"
)

// FuzzProcess reads processes from JSON. What Validate passes must give
// schedules that hold together, at every push and temperature.
func FuzzProcess(f *testing.F) {
	for _, p := range chemistry.BuiltInProcesses() {
		text, err := json.Marshal(p.ProcessDefinition)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(text)
	}
	f.Add([]byte(`{"code":"x","name":"X","kind":"bw_negative","film_developing":true,"developing_range":{"min":"PT1M","max":"PT9M"},"source":"s",
		"curve":{"rate_permille":81,"lowest":"15 °C","highest":"25 °C","source":"s"},
		"steps":[{"role":"developer","name":"D","time":"PT0S","temperature":"20 °C","tolerance":"0.5 °C","developer":true,"source":"s"}]}`))
	f.Add([]byte(`{"steps":[{"temperature":"100 °F"}]}`))
	f.Fuzz(func(t *testing.T, text []byte) {
		var d chemistry.ProcessDefinition
		if json.Unmarshal(text, &d) != nil || len(d.Validate()) != 0 {
			return
		}
		p := chemistry.Process{ProcessDefinition: d}
		developings := map[int]units.Duration{0: p.DeveloperStep().Time}
		for _, row := range p.Pushes {
			developings[row.Stops] = row.Developing
		}
		if d.FilmDeveloping {
			developings[0] = d.DevelopingRange.Max
		}
		for stops, developing := range developings {
			s := p.Schedule(stops, developing, nil)
			end := units.Duration(0)
			for _, step := range s.Steps {
				if step.Begins != end || step.Time < 1 {
					t.Fatalf("%s begins at %s for %s, after %s", step.Step.Name, step.Begins, step.Time, end)
				}
				end = step.Ends
			}
			for at := units.Temperature(5_000); at <= 60_000; at += 500 {
				if f, err := p.AtTemperature(at); err == nil && (f.Permille < 1 || p.Schedule(stops, developing, nil, f).Wet > p.WorstSchedule(stops, developing).Wet) {
					t.Fatalf("at %s the factor is %d, beyond the worst", at, f.Permille)
				}
			}
		}
		again, err := json.Marshal(d)
		if err != nil {
			t.Fatal(err)
		}
		var back chemistry.ProcessDefinition
		if err := json.Unmarshal(again, &back); err != nil || len(back.Validate()) != 0 {
			t.Fatalf("written again it is %v, %v", err, back.Validate())
		}
	})
}

// FuzzKit reads kits from JSON. What Validate passes must carry no more than it
// says, be mixed of no more than it holds, and lengthen no step beyond its worst.
func FuzzKit(f *testing.F) {
	k := reversalKit()
	for _, change := range []func(){
		func() {},
		func() { k.Baths[1].Concentrates = []chemistry.Concentrate{{Name: "A", ULPerL: 142_500}} },
		func() {
			k.Baths[1].Use, k.Baths[1].ReplenishMLPerM2 = chemistry.Replenished, ptr[int64](860)
			k.Baths[2].Limits = &chemistry.BathLimits{PHLow: 500, PHHigh: 600, Source: "s"}
		},
	} {
		change()
		text, err := json.Marshal(k)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(text)
	}
	var three chemistry.Process
	for _, p := range chemistry.BuiltInProcesses() {
		if p.Code == "reversal-3" {
			three = p
		}
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		var k chemistry.NewKit
		if json.Unmarshal(text, &k) != nil || len(k.Validate(three, k.Price.Currency)) != 0 {
			return
		}
		worst := three.WorstSchedule(0, three.DeveloperStep().Time, k.Baths...).Wet
		for _, d := range k.Baths {
			capacity, bounded := d.Capacity()
			if bounded && capacity < 1 {
				t.Fatalf("the %s carries %d mm²", d.Role, capacity)
			}
			for _, used := range []int64{0, capacity / 2, capacity} {
				factor, corrects, err := d.Factor(used)
				if err != nil {
					t.Fatalf("within its capacity, at %d mm² of %d: %v", used, capacity, err)
				}
				if corrects && three.Schedule(0, three.DeveloperStep().Time, map[string]chemistry.Factor{d.Role: factor}).Wet > worst {
					t.Fatalf("the %s lengthens the run beyond its worst", d.Role)
				}
			}
			d.Left(chemistry.Wear{VolumeLeftML: d.VolumeML, ExpiresAt: mixed.Add(d.Life.Std())}, mixed)
		}
		for _, b := range chemistry.TableFor(k.Baths, 1_000).Baths {
			if b.StartWaterTenths < 0 || b.FillUpWaterTenths < 0 {
				t.Fatalf("%+v", b)
			}
		}
	})
}

// No film, of any format and length that a lab may have, has an area below one
// mm², nor frames or hanging positions below none.
func TestAreaIsNeverNegative(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		f := rapid.SampledFrom(chemistry.BuiltInFormats()).Draw(rt, "format")
		f.WidthUM = rapid.Int64Range(5_000, 400_000).Draw(rt, "width")
		f.LengthGiven = true
		length := rapid.Int64Range(-1_000, 200_000).Draw(rt, "length")
		film, err := chemistry.MeasureFilm(f, length)
		if err != nil {
			return
		}
		if film.Areas.Trade < 1 || film.Areas.Geometric < 1 || f.Frames(film.LengthMM) < 0 || chemistry.Positions(f, film.LengthMM, 1_700) < 0 {
			rt.Fatalf("%+v", film)
		}
		for _, fps := range chemistry.FrameRates {
			if f.FramesPerFoot > 0 && f.RunningTime(film.LengthMM, fps) > f.RunningTime(film.LengthMM+1_000, fps) {
				rt.Fatal("more film runs for less")
			}
		}
	})
}
