package checker

import "slices"

// checkFit is rule 2: reels that the tank takes, just enough for the rolls, in
// its height, covered by the tank's volume and by each bath's.
func (j *judge) checkFit() {
	for _, r := range j.judged() {
		j.checkReelsNeeded(r)
		var height int64
		for _, use := range r.Reels {
			if !slices.Contains(r.tank.Reels, use.Kind) {
				j.add(ruleFit, r.ID, "", "tank %s does not take reels of kind %s", r.Tank, use.Kind)
			}
			height = add(height, mul(use.Count, j.kinds[use.Kind].HeightMM))
		}
		if height > r.tank.HeightMM {
			j.add(ruleFit, r.ID, "", "reels stack to %d mm, tank %s takes %d mm", height, r.Tank, r.tank.HeightMM)
		}
		need := j.solution(r)
		if need > r.tank.VolumeML {
			j.add(ruleFit, r.ID, "", "reels need %d mL to cover them, tank %s takes %d mL", need, r.Tank, r.tank.VolumeML)
		}
		for _, bath := range j.bathsOf(r) {
			if need > bath.VolumeML {
				j.add(ruleFit, r.ID, "", "reels need %d mL to cover them, bath %s is %d mL", need, bath.ID, bath.VolumeML)
			}
		}
	}
}

// checkReelsNeeded compares the reels taken with those that the rolls need.
func (j *judge) checkReelsNeeded(r *run) {
	rolls, taken := map[string]int64{}, map[string]int64{}
	var kinds []string
	for _, film := range r.films {
		rolls[film.Reel]++
		kinds = append(kinds, film.Reel)
	}
	for _, use := range r.Reels {
		taken[use.Kind] = use.Count
		kinds = append(kinds, use.Kind)
	}
	slices.Sort(kinds)
	for _, kind := range slices.Compact(kinds) {
		need := ceilDiv(rolls[kind], max(get(j.kinds, kind).Holds, 1))
		if taken[kind] != need {
			j.add(ruleFit, r.ID, "", "it takes %d reels of kind %s, its rolls need %d", taken[kind], kind, need)
		}
	}
}
