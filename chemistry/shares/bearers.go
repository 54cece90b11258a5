package shares

import (
	"maps"
	"slices"
)

// A group is members, in the order of their ids with the fund last, and what
// each is weighed by.
type group struct {
	members []string
	measure func(member string) int64
}

// theFund is the fund alone.
var theFund = group{members: []string{""}, measure: alike}

// bearers are who may bear a part of a kit's price.
type bearers struct {
	users, subscribers group
	// sharers share the used part: the users, or by some rules the subscribers.
	sharers group
}

func newBearers(k Terms, of lines) bearers {
	b := bearers{
		users:       group{slices.SortedFunc(maps.Keys(of), compareParties), of.measure(k.Rule)},
		subscribers: group{slices.Compact(slices.Sorted(slices.Values(k.Subscribers))), k.bySubscription()},
	}
	b.sharers = b.users
	if (k.Rule == Equally || k.Rule == Weighted) && len(b.subscribers.members) > 0 {
		b.sharers = b.subscribers
	}
	return b
}

func (b bearers) ofUnused(on FallsOn) group {
	switch on {
	case Users:
		return b.orElse(b.users)
	case Subscribers:
		return b.orElse(b.subscribers)
	default:
		return theFund
	}
}

func (b bearers) ofSpoiled(on SpoiledFallsOn) group {
	if on == OnSharers {
		return b.orElse(b.sharers)
	}
	return theFund
}

// orElse is g, or the subscribers where it is nobody, or the fund.
func (b bearers) orElse(g group) group {
	for _, some := range []group{g, b.subscribers} {
		if len(some.members) > 0 {
			return some
		}
	}
	return theFund
}

// spread apportions amount among the group. Nothing to spread needs nobody to
// bear it.
func (g group) spread(amount int64, give func(member string, part int64)) error {
	if amount == 0 {
		return nil
	}
	weights := make([]int64, len(g.members))
	for i, m := range g.members {
		weights[i] = g.measure(m)
	}
	parts, err := Apportion(amount, weights)
	if err != nil {
		return err
	}
	for i, m := range g.members {
		give(m, parts[i])
	}
	return nil
}
