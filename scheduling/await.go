package scheduling

import (
	"slices"
	"time"

	"wetside/scheduling/planner"
)

// awaited stands for the kits that frozen batches wait for, and that are to be
// mixed by a batch that is not planned yet: see awaitKits.
const awaited = "awaited"

// awaitKits has frozen batches on a kit that no frozen batch mixes wait for it:
// any batch may mix it, in time for them, and what they need of its baths is
// set aside. Had the first of them to mix it, as the planner's frozen batches
// must, nothing before could use it.
func awaitKits(p *planner.Problem) {
	mixed := map[string]bool{}
	for _, f := range p.Frozen {
		mixed[f.BathSet] = mixed[f.BathSet] || f.Mixes
	}
	for i := range p.Frozen {
		f := &p.Frozen[i]
		at := slices.IndexFunc(p.BathSets, func(b planner.BathSet) bool { return b.ID == f.BathSet })
		if at < 0 || p.BathSets[at].Mix == nil || mixed[f.BathSet] {
			continue
		}
		set := &p.BathSets[at]
		mixInTime(p, set, f.Start)
		for j := range p.Baths {
			if slices.Contains(set.Baths, p.Baths[j].ID) {
				spend(p, &p.Baths[j], f)
			}
		}
		f.BathSet = awaited
	}
	waits := slices.ContainsFunc(p.Frozen, func(f planner.FrozenBatch) bool { return f.BathSet == awaited })
	if waits && !slices.ContainsFunc(p.BathSets, func(b planner.BathSet) bool { return b.ID == awaited }) {
		p.BathSets = append(p.BathSets, planner.BathSet{ID: awaited, Processes: []string{}, Baths: []string{}})
	}
}

// mixInTime has a kit mixed before a batch that waits for it starts, unless
// that is over.
func mixInTime(p *planner.Problem, set *planner.BathSet, start time.Time) {
	by := start.Add(-set.Mix.Takes.Std())
	if by.Before(p.Horizon.Start) || set.Mix.By != nil && set.Mix.By.Before(by) {
		return
	}
	mix := *set.Mix
	mix.By = &by
	set.Mix = &mix
}

// spend takes from a bath what a batch uses up of it, as the planner counts.
func spend(p *planner.Problem, bath *planner.Bath, f *planner.FrozenBatch) {
	var area, draws int64
	for _, film := range f.Films {
		area += film.AreaMM2
	}
	for _, u := range f.Reels {
		for _, k := range p.Reels {
			if k.Kind == u.Kind {
				draws += u.Count * k.SolutionML
			}
		}
	}
	if bath.AreaLeftMM2 != nil {
		bath.AreaLeftMM2 = new(max(*bath.AreaLeftMM2-area, 0))
	}
	if bath.RunsLeft != nil {
		bath.RunsLeft = new(max(*bath.RunsLeft-1, 0))
	}
	if bath.OneShot {
		if per := bath.RunMM2PerL; per != nil && *per > 0 {
			draws = max(draws, (area*1000+*per-1) / *per)
		}
		bath.VolumeML = max(bath.VolumeML-draws, 0)
	}
}
