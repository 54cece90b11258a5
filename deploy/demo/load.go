package demo

import (
	"context"
	"fmt"
	"time"

	"wetside/chemistry"
	"wetside/lab"
	"wetside/scheduling"
)

// beginning sets the lab up, as its keeper, six weeks before the coming one.
func (s *story) beginning() error {
	return s.when("-6 Sat 10:00", "set up the lab", func(ctx context.Context) error {
		var made lab.Founding
		if err := s.setup.post(ctx, "/v1/labs", s.coop.Lab, &made); err != nil {
			return err
		}
		s.lab, s.told.Lab = made.Lab, made.Lab.ID
		if err := s.welcome(ctx, s.coop.Keeper, made.Keeper, made.SignIn.Code); err != nil {
			return err
		}
		keeper := s.people[s.coop.Keeper]
		for _, m := range s.coop.Members {
			var member lab.Member
			if err := keeper.post(ctx, s.in("members"), map[string]any{"name": m.Name, "roles": m.Roles}, &member); err != nil {
				return err
			}
			var code lab.SignInCode
			if err := keeper.post(ctx, s.in("members", member.ID, "sign-in-codes"), nil, &code); err != nil {
				return err
			}
			if err := s.welcome(ctx, m.Key, member, code.Code); err != nil {
				return err
			}
		}
		s.say("%s in %s is set up: %d members", made.Lab.Name, made.Lab.TimeZone, len(s.people))
		return s.equip(ctx, keeper)
	})
}

func (s *story) welcome(ctx context.Context, key string, m lab.Member, code string) error {
	token, err := s.setup.signIn(ctx, code)
	if err != nil {
		return err
	}
	s.people[key] = person{client: s.setup.as(token), id: m.ID, name: m.Name}
	s.told.People[key], s.told.Tokens[key] = m.ID, token
	return nil
}

// equip puts in reels, tanks and cabinets, and says when the lab is open.
func (s *story) equip(ctx context.Context, keeper person) error {
	for _, reel := range s.coop.Reels {
		if err := keeper.post(ctx, s.in("reel-kinds"), reel, nil); err != nil {
			return err
		}
	}
	for _, t := range s.coop.Tanks {
		var made lab.Tank
		if err := keeper.post(ctx, s.in("tanks"), t.NewTank, &made); err != nil {
			return err
		}
		s.tanks[t.Key] = made.ID
	}
	for _, c := range s.coop.Cabinets {
		if err := keeper.post(ctx, s.in("cabinets"), c, nil); err != nil {
			return err
		}
	}
	for _, o := range s.coop.Openings {
		in := scheduling.NewOpening{
			Rule: o.Rule, Starts: o.Starts, Lasts: o.Lasts, Processes: o.Processes,
			Tank: s.tanks[o.Tank], Operator: s.people[o.Operator].id,
		}
		var made scheduling.Opening
		if err := keeper.post(ctx, s.in("openings"), in, &made); err != nil {
			return err
		}
		s.openings[o.Key] = made.ID
	}
	s.say("%d tanks, %d kinds of reel, %d openings a week", len(s.coop.Tanks), len(s.coop.Reels), len(s.coop.Openings))
	return nil
}

// The members who hold the roles that the story needs.
const (
	stewardKey   = "tomasz"
	treasurerKey = "ngozi"
)

// keeps is how long a kit keeps unopened: a year, common practice.
const keeps = 365 * 24 * time.Hour

// chemistry buys the kits, and mixes those that are mixed before the coming week.
func (s *story) chemistry() error {
	byKey := map[string]newKit{}
	for _, k := range s.kits.Kits {
		kit := k.Kit
		if like, ok := byKey[k.Like]; ok {
			kit.Process, kit.Baths, kit.Portions, kit.Mix = like.Process, like.Baths, like.Portions, like.Mix
			kit.OpenedLife, kit.RatedAreaMM2 = like.OpenedLife, like.RatedAreaMM2
		}
		byKey[k.Key] = kit
		if err := s.when(k.Bought, "buy "+kit.Name, func(ctx context.Context) error { return s.buy(ctx, k, kit) }); err != nil {
			return err
		}
		if k.Mixed == "" {
			continue
		}
		if err := s.when(k.Mixed, "mix "+kit.Name, func(ctx context.Context) error {
			s.say("%s mixes %s", s.people[stewardKey].name, kit.Name)
			return s.people[stewardKey].post(ctx, s.in("bath-sets"), map[string]string{"kit": s.told.Kits[k.Key]}, nil)
		}); err != nil {
			return err
		}
	}
	c := s.past.Close
	return s.when(c.At, "close "+c.Kit, func(ctx context.Context) error {
		path := s.in("kits", s.told.Kits[c.Kit], "closing")
		if err := s.closeTwice(ctx, s.told.Kits[c.Kit], path, c.Because); err != nil {
			return err
		}
		s.say("the first kit is closed (%s): %d share its price", c.Because, len(s.told.Closing.Shares))
		return s.throwOut(ctx, s.told.Kits[c.Kit])
	})
}

func (s *story) buy(ctx context.Context, k kitData, in newKit) error {
	at, err := s.cal.at(k.Bought)
	if err != nil {
		return err
	}
	in.BoughtOn, in.UnopenedUntil = at.Format(time.DateOnly), at.Add(keeps).UTC()
	payer := "the fund"
	if k.By != "" {
		in.BoughtBy, payer = s.people[k.By].id, s.people[k.By].name
	}
	var subscribers []string
	for _, key := range in.Subscribers {
		subscribers = append(subscribers, s.people[key].id)
	}
	in.Subscribers = subscribers
	var kit chemistry.Kit
	if err := s.people[treasurerKey].post(ctx, s.in("kits"), in, &kit); err != nil {
		return err
	}
	s.told.Kits[k.Key] = kit.ID
	s.say("%s is bought for %s; %s paid", kit.Name, money(kit.Price.Amount, kit.Price.Currency), payer)
	return nil
}

// handIn has a member hand rolls over the counter at a date.
func (s *story) handIn(r rollData) error {
	return s.when(r.At, "hand in a "+r.Format, func(ctx context.Context) error {
		_, err := s.handOver(ctx, r)
		return err
	})
}

// handOver hands rolls over the counter, as the member whose they are, and gives their ids.
func (s *story) handOver(ctx context.Context, r rollData) (ids []string, err error) {
	in := map[string]any{"format": r.Format, "process": r.Process, "push": r.Push, "note": r.Note}
	if r.LengthMM > 0 {
		in["length_mm"] = r.LengthMM
	}
	if r.Developing > 0 {
		in["developing"] = r.Developing
	}
	if r.Due != "" {
		due, err := s.cal.at(r.Due)
		if err != nil {
			return nil, err
		}
		in["due"] = due.UTC()
	}
	owner := s.people[r.Of]
	for n := range max(r.Count, 1) {
		var roll scheduling.Roll
		err := owner.post(ctx, s.in("rolls"), in, &roll)
		if r.Refused != nil {
			return nil, s.expect(err, owner.name, fmt.Sprintf("hands in a %s for %s%s", r.Format, r.Process, pushed(r.Push)), 422, r.Refused...)
		}
		if err != nil {
			return nil, err
		}
		ids = append(ids, roll.ID)
		if r.Key != "" && r.Count > 1 {
			s.told.Rolls[fmt.Sprintf("%s-%d", r.Key, n+1)] = roll.ID
		} else if r.Key != "" {
			s.told.Rolls[r.Key] = roll.ID
		}
		if r.Spoiled != "" {
			s.spoil[roll.ID] = r.Spoiled
		}
	}
	return ids, nil
}
