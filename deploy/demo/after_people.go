package demo

import (
	"context"
	"fmt"
	"net/http"

	"wetside/lab"
	"wetside/lab/telling"
	"wetside/scheduling"
)

// alone has a member book a session that they run themselves: not before they
// are certified for its tank.
func (s *story) alone(ctx context.Context) error {
	a, member := s.after.Alone, s.people[s.after.Alone.Roll.Of]
	session, err := s.sessionOf(ctx, 1, a.Session)
	if err != nil {
		return err
	}
	rolls, err := s.handOver(ctx, a.Roll)
	if err != nil {
		return err
	}
	in := scheduling.NewBooking{Session: session, Rolls: rolls}
	err = member.post(ctx, s.in("bookings"), in, nil)
	if err := s.expect(err, member.name, "books "+a.Session+", to run it alone", http.StatusConflict, "not-certified"); err != nil {
		return err
	}
	certify := s.in("members", member.id, "certifications", s.tanks[s.after.Calendar.Alone.Tank])
	if _, err := s.people[stewardKey].call(ctx, http.MethodPut, certify, "", nil, nil); err != nil {
		return err
	}
	if err := member.post(ctx, s.in("bookings"), in, nil); err != nil {
		return err
	}
	s.say("%s is certified for the tank, and books %s to run it alone", member.name, a.Session)
	_, err = member.get(ctx, s.in("sessions", session), &s.told.After.Alone)
	return err
}

// password is what the demo's newest member signs in with.
const password = "seven slow green lamps"

// join has somebody be invited, accept with a password, sign in, find the first
// session that takes their roll, book it, and sign out.
func (s *story) join(ctx context.Context) error {
	j := s.after.Joins
	var invited struct {
		Secret string `json:"secret"`
	}
	in := map[string]any{"name": j.Name, "email": j.Email, "roles": []lab.Role{lab.RoleMember}}
	if err := s.people[stewardKey].post(ctx, s.in("invitations"), in, &invited); err != nil {
		return err
	}
	var t struct {
		AccessToken string `json:"access_token"`
		Member      string `json:"member"`
	}
	if err := s.setup.as("").post(ctx, s.in("acceptances"), map[string]string{"secret": invited.Secret, "password": password}, nil); err != nil {
		return err
	}
	if err := s.setup.as("").post(ctx, s.in("sign-ins"), map[string]string{"email": j.Email, "password": password}, &t); err != nil {
		return err
	}
	member := person{client: s.setup.as(t.AccessToken), id: t.Member, name: j.Name}
	s.people[j.Roll.Of], s.told.People[j.Roll.Of] = member, t.Member
	s.say("%s is invited, and joins with a password", j.Name)
	rolls, err := s.handOver(ctx, j.Roll)
	if err != nil {
		return err
	}
	from := s.cal.week(1).UTC()
	var when scheduling.Availability
	if err := member.post(ctx, s.in("availability"), scheduling.Wish{Rolls: rolls, From: &from, Limit: 1}, &when); err != nil {
		return err
	}
	if len(when.Offers) == 0 {
		return fmt.Errorf("no session takes the roll of %s", j.Name)
	}
	book := scheduling.NewBooking{Session: when.Offers[0].Session.ID, Rolls: rolls}
	if err := member.post(ctx, s.in("bookings"), book, &s.told.After.Joined); err != nil {
		return err
	}
	if _, err := member.call(ctx, http.MethodDelete, s.in("sign-in"), "", nil, nil); err != nil {
		return err
	}
	_, err = member.get(ctx, s.in("bookings"), nil)
	return s.expect(err, j.Name, "uses a token after signing out", http.StatusUnauthorized, "unauthenticated")
}

// hear reads what who waited was told, and their calendar as a program would.
func (s *story) hear(ctx context.Context) (err error) {
	member := s.member(s.told.After.Accepted.Member)
	if s.told.After.Heard, err = all[telling.Message](ctx, member.client, s.in("messages")); err != nil {
		return err
	}
	var feed scheduling.FeedMade
	if err := member.post(ctx, s.in("feeds"), scheduling.NewFeed{Of: scheduling.FeedOfMember}, &feed); err != nil {
		return err
	}
	_, err = s.setup.as("").get(ctx, feed.Path, &s.told.After.Feed)
	return err
}
