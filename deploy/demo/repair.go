package demo

import (
	"context"
	"net/http"

	"wetside/lab"
)

// breakDown puts a tank out of order, and has what it was to run planned
// elsewhere: what can be run as it is stays.
func (s *story) breakDown(ctx context.Context) error {
	b := s.past.Breakdown
	if err := s.outOfOrder(ctx, b.Tank, true); err != nil {
		return err
	}
	plan, etag, err := s.makePlanBy(ctx, s.setup.clock.now, b.Week, true)
	if err != nil {
		return err
	}
	s.told.Repair = plan
	s.say("the week is repaired: %s moved", count(len(plan.Moved), "roll", "rolls"))
	return s.takeUp(ctx, plan, etag)
}

// outOfOrder puts a tank out of order, or back into use.
func (s *story) outOfOrder(ctx context.Context, key string, is bool) error {
	keeper, at := s.people[s.coop.Keeper], s.in("tanks", s.tanks[key])
	var tank lab.Tank
	etag, err := keeper.get(ctx, at, &tank)
	if err != nil {
		return err
	}
	state := "mended"
	if is {
		state = "out of order: " + s.past.Breakdown.What
	}
	s.say("the %s is %s", lower(tank.Name), state)
	_, err = keeper.call(ctx, http.MethodPatch, at, etag, map[string]bool{"out_of_order": is}, nil)
	return err
}
