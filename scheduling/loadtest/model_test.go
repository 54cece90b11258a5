package loadtest

import (
	"cmp"
	"fmt"
	"hash/fnv"
	"slices"
	"time"

	"github.com/anishathalye/porcupine"

	"wetside/deploy/load/labs"
)

// What clients do, to one lab each time. Each booking has one roll.
type action string

const (
	hold    action = "hold"
	book    action = "book"
	confirm action = "confirm"
	move    action = "move"
	cancel  action = "cancel"
	list    action = "list"
)

// An input is what a client asks for, living at an instant of its own.
type input struct {
	lab     string
	action  action
	roll    string
	booking string // of confirm, move and cancel
	session string // where to; of list, which
	at      time.Time
}

// An output is what came of it.
type output struct {
	unknown bool   // no answer came, and nobody asked again
	code    string // of the problem, where it was refused
	booking string // made by hold and book
	listed  []place
}

// A place is a booking that holds one.
type place struct {
	roll, booking, session string // booking is "" while nobody knows its id
	held                   time.Time
}

// state is a lab's places, by roll.
type state []place

// holdTime is how long the lab's rules hold a place.
const holdTime = 15 * time.Minute

// model is what bookings are to those who make them: each session has two
// places, and a hold's ends with its time. Whoever changes something at an
// instant ends the holds that are over by then for good, whatever clocks say
// after. What is refused changes nothing.
func model() porcupine.Model {
	return porcupine.Model{
		Partition: func(history []porcupine.Operation) [][]porcupine.Operation {
			byLab := map[string][]porcupine.Operation{}
			for _, op := range history {
				lab := op.Input.(input).lab
				byLab[lab] = append(byLab[lab], op)
			}
			var parts [][]porcupine.Operation
			for _, part := range byLab {
				parts = append(parts, part)
			}
			return parts
		},
		Init:  func() any { return state(nil) },
		Step:  func(s, in, out any) (bool, any) { return s.(state).step(in.(input), out.(output)) },
		Equal: func(a, b any) bool { return slices.Equal(a.(state), b.(state)) },
		Hash: func(s any) uint64 {
			h := fnv.New64a()
			for _, p := range s.(state) {
				_, _ = fmt.Fprint(h, p.roll, p.booking, p.session, p.held.Unix())
			}
			return h.Sum64()
		},
		DescribeOperation: func(in, out any) string { return fmt.Sprintf("%+v → %+v", in, out) },
		DescribeState:     func(s any) string { return fmt.Sprintf("%+v", s) },
	}
}

// step says whether an answer is right in a state, and what the state is after.
// An operation that nobody knows the outcome of is always right: it has its
// effect if it can, at any time from when it was asked for, and so perhaps after
// everything else.
func (s state) step(in input, out output) (bool, any) {
	after, want, booking := s.after(in)
	switch {
	case out.unknown && want == "":
		return true, after
	case out.unknown:
		return true, s
	case in.action == list:
		return slices.EqualFunc(s.in(in.session, in.at), out.listed, same), s
	case want != "" && out.code == "hold-lapsed" && want == "booking-cancelled":
		return true, s // how a booking ended is not kept here
	case out.code != want:
		return false, s
	case want != "":
		return true, s
	}
	if booking {
		after = after.with(in.roll, func(p *place) { p.booking = out.booking })
	}
	return true, after
}

// same says whether a place listed is one of the state's, whose id may not be known.
func same(known, listed place) bool {
	return known.roll == listed.roll && known.session == listed.session && known.held.Equal(listed.held) &&
		(known.booking == "" || known.booking == listed.booking)
}

// after is the state once something is done, or the problem that it is refused
// with; made says that a booking is made by it.
func (s state) after(in input) (next state, problem string, made bool) {
	live := s.live(in.at)
	at := slices.IndexFunc(live, func(p place) bool { return p.roll == in.roll })
	switch in.action {
	case hold, book:
		if at >= 0 {
			return s, "roll-already-booked", false
		}
		if live.taken(in.session) == labs.Places {
			return s, "does-not-fit", false
		}
		p := place{roll: in.roll, session: in.session}
		if in.action == hold {
			p.held = in.at.Add(holdTime)
		}
		live = append(live, p)
		slices.SortFunc(live, func(a, b place) int { return cmp.Compare(a.roll, b.roll) })
		return live, "", true
	case list:
		return s, "", false
	}
	if at < 0 || live[at].booking != in.booking && live[at].booking != "" {
		return s, "booking-cancelled", false
	}
	switch in.action {
	case confirm:
		return live.with(in.roll, func(p *place) { p.held = time.Time{} }), "", false
	case cancel:
		return slices.Delete(live, at, at+1), "", false
	case move:
		if live[at].session != in.session && live.taken(in.session) == labs.Places {
			return s, "does-not-fit", false
		}
		return live.with(in.roll, func(p *place) { p.session = in.session }), "", false
	}
	panic("no such action: " + in.action)
}

// live is a copy of the state without the holds that are over at an instant.
func (s state) live(at time.Time) state {
	return slices.DeleteFunc(slices.Clone(s), func(p place) bool { return !p.held.IsZero() && !p.held.After(at) })
}

func (s state) taken(session string) (n int) {
	for _, p := range s {
		if p.session == session {
			n++
		}
	}
	return n
}

// in is what holds a place in a session at an instant.
func (s state) in(session string, at time.Time) state {
	return slices.DeleteFunc(s.live(at), func(p place) bool { return p.session != session })
}

// with is a copy of the state with a roll's place changed.
func (s state) with(roll string, change func(*place)) state {
	next := slices.Clone(s)
	change(&next[slices.IndexFunc(next, func(p place) bool { return p.roll == roll })])
	return next
}
