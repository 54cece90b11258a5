package planner

import (
	"math/rand/v2"
	"testing"
)

// TestPackerIsOptimal holds the filling of a session's time against trying
// every choice of options.
func TestPackerIsOptimal(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(6, 6))
	var pa packer
	for round := range 3000 {
		units, flush, slots := 1+rng.IntN(40), rng.IntN(5), 1+rng.IntN(4)
		var menus []menu
		for range 1 + rng.IntN(5) {
			w := menu{first: len(menus) == 0 || rng.IntN(2) == 0}
			at, value := rng.IntN(6), int64(0)
			for range rng.IntN(5) {
				value += 1 + rng.Int64N(1_000)
				op := option{time: at, value: value}
				if rng.IntN(3) == 0 {
					op.slots = int32(rng.IntN(3))
				}
				w.options = append(w.options, op)
				at += rng.IntN(12)
			}
			menus = append(menus, w)
		}
		got := pa.fill(menus, units, flush, slots)
		if want := mostWorth(menus, units+flush, flush, slots-1, false); got != want {
			t.Fatalf("round %d: %d units, flush %d, %d slots: worth %d, not %d: %+v", round, units, flush, slots, got, want, menus)
		}
		if back := readBack(&pa, menus, units+flush, flush, slots-1); back != got {
			t.Fatalf("round %d: what was read back is worth %d, not %d", round, back, got)
		}
	}
}

// mostWorth tries each option of the first way, and none, with all of the others;
// open says that one of the process was taken before.
func mostWorth(menus []menu, room, flush, slots int, open bool) int64 {
	if len(menus) == 0 {
		return 0
	}
	w := &menus[0]
	open = open && !w.first
	best := mostWorth(menus[1:], room, flush, slots, open)
	for _, op := range w.options {
		left, early := room-op.time, slots-int(op.slots)
		if !open {
			left -= flush
		}
		if left >= 0 && early >= 0 {
			best = max(best, op.value+mostWorth(menus[1:], left, flush, early, true))
		}
	}
	return best
}

// readBack adds up what the packer says it took, and is −1 where that does not fit.
func readBack(pa *packer, menus []menu, room, flush, slots int) int64 {
	var sum int64
	group, last := -1, len(menus)
	for l := pa.best; l > 0; l = pa.labels[l].before {
		at := &pa.labels[l]
		if at.menu < 0 {
			continue
		}
		if int(at.menu) >= last {
			return -1
		}
		last = int(at.menu)
		first := last
		for !menus[first].first {
			first--
		}
		if first != group {
			group, room = first, room-flush
		}
		op := menus[last].options[at.option]
		sum, room = sum+op.value, room-op.time
		slots -= int(op.slots)
	}
	if room < 0 || slots < 0 {
		return -1
	}
	return sum
}
