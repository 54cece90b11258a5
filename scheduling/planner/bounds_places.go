package planner

import (
	"cmp"
	"slices"
)

// A cluster is sessions that overlap in time and so share reels and cabinets,
// with the most rolls they can take together.
type cluster struct {
	sessions []int
	span
	places int64
}

// clusters groups the sessions and counts their places for some rolls.
func (bd *bounds) clusters(rolls []int) []cluster {
	m := bd.m
	order := make([]int, 0, len(m.sess))
	for s := range m.sess {
		if m.sess[s].start < m.sess[s].end {
			order = append(order, s)
		}
	}
	slices.SortFunc(order, func(a, b int) int {
		return cmp.Or(cmp.Compare(m.sess[a].start, m.sess[b].start), cmp.Compare(a, b))
	})
	var out []cluster
	for _, s := range order {
		if n := len(out); n > 0 && m.sess[s].start < out[n-1].to {
			out[n-1].sessions = append(out[n-1].sessions, s)
			out[n-1].to = max(out[n-1].to, m.sess[s].end)
			continue
		}
		out = append(out, cluster{sessions: []int{s}, span: span{m.sess[s].start, m.sess[s].end}})
	}
	for i := range out {
		bd.countPlaces(&out[i], rolls)
	}
	return out
}

func (bd *bounds) countPlaces(c *cluster, rolls []int) {
	for _, s := range c.sessions {
		var here []int
		for _, i := range rolls {
			if bd.of(i).at[s] < never {
				here = append(here, i)
			}
		}
		if len(here) > 0 {
			c.places += min(bd.sessionTakes(s, here), int64(len(here)))
		}
	}
	c.places = min(c.places, bd.reelPlaces(c, rolls), bd.hangPlaces(c, rolls))
}

// reelPlaces is how many rolls the lab's reels carry at most while a cluster
// lasts.
func (bd *bounds) reelPlaces(c *cluster, rolls []int) int64 {
	used := make([]bool, len(bd.m.kinds))
	for _, i := range rolls {
		used[bd.m.rolls[i].kind] = true
	}
	var sum int64
	for k, ok := range used {
		if ok {
			sum += bd.m.kinds[k].takes(c.to-c.from, bd.shortestWet())
		}
	}
	return sum
}

// hangPlaces is how many rolls can be hung up at most while a cluster lasts:
// a position is free again once its film is dry.
func (bd *bounds) hangPlaces(c *cluster, rolls []int) int64 {
	var sum int64
	for k := range bd.m.cabs {
		few := int64(0)
		for _, i := range rolls {
			if t := bd.m.rolls[i].takes[k]; t > 0 && (few == 0 || t < few) {
				few = t
			}
		}
		switch {
		case few == 0:
		case bd.m.cabs[k].dry == 0:
			return never
		default:
			sum += bd.m.cabs[k].positions / few * (1 + (c.to-c.from)/bd.m.cabs[k].dry)
		}
	}
	return sum
}

// maxAssign bounds the work of assigned: beyond it the bound is left weaker.
const maxAssign = 200_000_000

// assigned is the least level 2 of some rolls, each of which can be placed
// alone, when every one goes to one cluster that has a place for it, at its
// soonest there, or is left out: a transport problem, solved exactly by shortest
// augmenting paths. It is 0 where that would take too long.
func (bd *bounds) assigned(rolls []int) int64 {
	m := bd.m
	clusters := bd.clusters(rolls)
	if len(rolls)*len(rolls)*(len(clusters)+1) > maxAssign {
		return 0
	}
	tr := &transport{cost: make([][]int64, len(rolls)), free: make([]int64, len(clusters)+1)}
	for k := range clusters {
		tr.free[k] = clusters[k].places
	}
	tr.free[len(clusters)] = int64(len(rolls)) // left out
	for n, i := range rolls {
		r := &m.rolls[i]
		row := make([]int64, len(clusters)+1)
		for k := range clusters {
			row[k] = never
			for _, s := range clusters[k].sessions {
				if dry := bd.of(i).at[s]; dry < never {
					row[k] = min(row[k], r.late(dry))
				}
			}
		}
		row[len(clusters)] = r.out
		tr.cost[n] = row
	}
	return tr.solve()
}

// A transport gives each item one place at the least total cost. The last
// place always has room.
type transport struct {
	cost  [][]int64 // by item and place; never: not there
	free  []int64
	place []int
}

func (tr *transport) solve() int64 {
	var total int64
	for i := range tr.cost {
		tr.place = append(tr.place, -1)
		tr.add(i)
	}
	for i, k := range tr.place {
		total += tr.cost[i][k]
	}
	return total
}

// add places one item, moving others along the cheapest chain of places.
func (tr *transport) add(item int) {
	places := len(tr.free)
	type move struct {
		cost int64
		item int
	}
	moves := make([]move, places*places) // the cheapest item to move from a to b
	for i := range moves {
		moves[i].cost = never
	}
	for i, a := range tr.place[:item] {
		for b, c := range tr.cost[i] {
			if c < never && c-tr.cost[i][a] < moves[a*places+b].cost {
				moves[a*places+b] = move{c - tr.cost[i][a], i}
			}
		}
	}
	dist := slices.Clone(tr.cost[item])
	from := make([]int, places) // the place before on the way, −1: the item itself
	for k := range from {
		from[k] = -1
	}
	for range places {
		changed := false
		for a := range places {
			for b := range places {
				if mv := moves[a*places+b]; dist[a] < never && mv.cost < never && dist[a]+mv.cost < dist[b] {
					dist[b], from[b], changed = dist[a]+mv.cost, a, true
				}
			}
		}
		if !changed {
			break
		}
	}
	end := places - 1
	for k := range places {
		if tr.free[k] > 0 && dist[k] < dist[end] {
			end = k
		}
	}
	tr.free[end]--
	for k := end; ; k = from[k] {
		if from[k] < 0 {
			tr.place[item] = k
			return
		}
		tr.place[moves[from[k]*places+k].item] = k
	}
}
