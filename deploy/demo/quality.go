package demo

import (
	"context"
	"time"

	"wetside/chemistry"
	"wetside/lab/units"
	"wetside/scheduling"
)

// fallen is how warm the first developer of a spoiled run still was.
const fallen = 35 * units.DegreeCelsius

// readings are what the operator read of a run: its developer, which cools by
// half its tolerance on the way, or by far more where the run is spoiled; and
// of colour negative a control strip.
func readings(sheet scheduling.RunSheet, spoiled bool) *chemistry.Reading {
	var r chemistry.Reading
	for _, step := range sheet.Steps {
		if step.Role != "developer" && step.Role != "first-developer" || len(r.Steps) > 0 {
			continue
		}
		start, end, done := step.Temperature, (step.Temperature+step.Lowest)/2, step.Time
		if spoiled {
			end = fallen
		}
		r.Steps = append(r.Steps, chemistry.StepReading{Step: step.Number, TemperatureStart: &start, TemperatureEnd: &end, Time: &done})
	}
	if sheet.Process == "c-41" {
		r.Control = []chemistry.DensityReading{{Measure: "d_min", OffHundredths: 1}, {Measure: "ld", OffHundredths: 7}, {Measure: "hd_minus_ld", OffHundredths: -2}}
	}
	return &r
}

// recordSpoiled records a run whose developer fell out of its tolerance: it is
// refused until the steward overrides it in writing. The developer is kept from
// use until a strip has been read.
func (s *story) recordSpoiled(ctx context.Context, sheet scheduling.RunSheet, in scheduling.NewRun, run *scheduling.Run) error {
	steward := s.people[stewardKey]
	path := s.in("batches", sheet.Batch, "run")
	err := steward.post(ctx, path, in, run)
	if err := s.expect(err, steward.name, "records a run whose developer fell to "+fallen.String(), 422, "developer-out-of-tolerance"); err != nil {
		return err
	}
	in.Override = "It was run like that, and is spoiled: " + in.Note
	if err := steward.post(ctx, path, in, run); err != nil {
		return err
	}
	bath := *sheet.Steps[in.Readings.Steps[0].Step-1].Bath
	s.diary.add(in.EndedAt.Add(3*time.Hour), "release a bath", func(ctx context.Context) error {
		return s.keep(ctx, bath, "release", "a strip of the evening is within its limits")
	})
	return s.keep(ctx, bath, "quarantine", "its temperature fell in a run; wait for a strip")
}

// keep puts a bath into quarantine, or releases it.
func (s *story) keep(ctx context.Context, bath, what, because string) error {
	steward := s.people[stewardKey]
	var before, after scheduling.BathAnswer
	etag, err := steward.get(ctx, s.in("baths", bath), &before)
	if err != nil {
		return err
	}
	if _, err := steward.call(ctx, "POST", s.in("baths", bath, what), etag, chemistry.Because{Because: because}, &after); err != nil {
		return err
	}
	s.say("the %s is %s now: %s", after.Role, after.State, because)
	return nil
}

// throwOut empties the baths of a kit that is closed.
func (s *story) throwOut(ctx context.Context, kit string) error {
	steward := s.people[stewardKey]
	sets, err := all[chemistry.BathSet](ctx, steward.client, s.in("bath-sets"))
	if err != nil {
		return err
	}
	for _, set := range sets {
		for _, b := range set.Baths {
			if set.Kit != kit {
				continue
			}
			to := "county collection point"
			if chemistry.WasteOf(b.Role) == chemistry.SilverBearing {
				to = "silver drum, for recovery"
			}
			at := s.in("baths", b.ID)
			var bath scheduling.BathAnswer
			etag, err := steward.get(ctx, at, &bath)
			if err != nil {
				return err
			}
			if _, err := steward.call(ctx, "POST", at+"/disposal", etag, chemistry.Disposal{To: to}, nil); err != nil {
				return err
			}
		}
	}
	s.say("%s empties its baths", steward.name)
	return nil
}
