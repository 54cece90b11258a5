package planner

// runsBound is, summed over what cannot share a batch, how many runs the rolls
// to be placed need by height, film area and stock of reels; rolls held to
// different sessions never share one.
func (bd *bounds) runsBound(must []bool) int64 {
	m := bd.m
	group := make([]int, len(m.class))
	for i := range group {
		group[i] = i
		for j := range i {
			if m.share(i, j) {
				from, to := group[i], group[j]
				for k := range i + 1 {
					if group[k] == from {
						group[k] = to
					}
				}
			}
		}
	}
	var sum int64
	for g := range m.class {
		var rolls []int
		held := make(map[int][]int)
		for i, placed := range must {
			if placed && group[m.rolls[i].class] == g {
				rolls = append(rolls, i)
				if s := m.rolls[i].held; s != noHold {
					held[s] = append(held[s], i)
				}
			}
		}
		var apart int64
		for _, here := range held {
			apart += bd.runsFor(here)
		}
		sum += max(bd.runsFor(rolls), apart)
	}
	return sum
}

// runsFor is the least number of runs for rolls of one group.
func (bd *bounds) runsFor(rolls []int) int64 {
	m := bd.m
	if len(rolls) == 0 {
		return 0
	}
	var tallest, largest int64
	for s := range m.sess {
		for _, i := range rolls {
			if bd.of(i).at[s] < never {
				tallest = max(tallest, m.tanks[m.sess[s].tank].height)
				largest = max(largest, bd.runArea(s, rolls))
				break
			}
		}
	}
	byKind := make([]int64, len(m.kinds))
	var height, area int64
	for _, i := range rolls {
		byKind[m.rolls[i].kind]++
		area += m.rolls[i].area
	}
	least := int64(1)
	for k, n := range byKind {
		kind := &m.kinds[k]
		reels := (n + kind.holds - 1) / kind.holds
		height += reels * kind.height
		if kind.count > 0 {
			least = max(least, (reels+kind.count-1)/kind.count)
		}
	}
	if tallest > 0 {
		least = max(least, (height+tallest-1)/tallest)
	}
	if largest > 0 && largest < never {
		least = max(least, (area+largest-1)/largest)
	}
	return least
}

// runArea is the most film that one run in a session can hold for any of the
// rolls.
func (bd *bounds) runArea(sess int, rolls []int) int64 {
	m := bd.m
	volume := m.tanks[m.sess[sess].tank].volume
	var most int64
	for s := range m.sets {
		usable := false
		for _, i := range rolls {
			usable = usable || bd.of(i).inSet[s]
		}
		if !usable {
			continue
		}
		area := int64(never)
		for _, b := range m.sets[s].baths {
			if ba := &m.baths[b]; ba.run >= 0 {
				area = min(area, ba.run*min(ba.volume, volume)/1000)
			}
		}
		most = max(most, area)
	}
	return most
}
