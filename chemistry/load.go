package chemistry

// A Load is what one run asks of a bath.
type Load struct {
	// AreaMM2 is the film in the run, SolutionML what covers its reels.
	AreaMM2    int64
	SolutionML int64
}

// Draw is what a run takes for good of a bath: of a one-shot bath the greater
// of what covers the reels and what the film's area needs, of others nothing.
func (d BathDefinition) Draw(l Load) int64 {
	if d.Use != OneShot {
		return 0
	}
	return d.Needs(l)
}

// Needs is the solution that a run needs of a bath: enough to cover its reels
// and enough for its film's area.
func (d BathDefinition) Needs(l Load) int64 {
	if d.RunMM2PerL == nil {
		return l.SolutionML
	}
	return max(l.SolutionML, divUp(l.AreaMM2*1000, *d.RunMM2PerL))
}

// Replenisher is what tops the bath up after a run, in mL rounded up; 0 unless
// it is replenished.
func (d BathDefinition) Replenisher(l Load) int64 {
	if d.Use != Replenished || d.ReplenishMLPerM2 == nil {
		return 0
	}
	return divUp(l.AreaMM2**d.ReplenishMLPerM2, 1_000_000)
}

// After is the bath's wear after a run.
func (d BathDefinition) After(w Wear, l Load) Wear {
	w.AreaMM2 += l.AreaMM2
	w.Runs++
	w.VolumeLeftML -= d.Draw(l)
	return w
}

// Carries says in what ways a run is more than is left of the bath; nothing if
// it carries it. Life is not looked at: it is a matter of when the step begins.
func (d BathDefinition) Carries(w Wear, l Load) []Fault {
	var fs faults
	if capacity, ok := d.Capacity(); ok && w.AreaMM2+l.AreaMM2 > capacity {
		fs.add("", "area-left", "the %s has %d mm² left and the run needs %d", d.Role, max(capacity-w.AreaMM2, 0), l.AreaMM2)
	}
	if d.Runs != nil && w.Runs >= *d.Runs {
		fs.add("", "runs-left", "the %s has had all its %d runs", d.Role, *d.Runs)
	}
	if d.Use == OneShot {
		if draw := d.Draw(l); draw > w.VolumeLeftML {
			fs.add("", "volume-left", "the %s has %d mL left and the run takes %d", d.Role, w.VolumeLeftML, draw)
		}
		return fs
	}
	if l.SolutionML > w.VolumeLeftML {
		fs.add("", "volume-left", "the %s is %d mL and it takes %d to cover the reels", d.Role, w.VolumeLeftML, l.SolutionML)
	}
	if d.RunMM2PerL != nil && l.AreaMM2*1000 > *d.RunMM2PerL*w.VolumeLeftML {
		fs.add("", "run-load", "the %s carries %d mm² in one run, not %d", d.Role, *d.RunMM2PerL*w.VolumeLeftML/1000, l.AreaMM2)
	}
	return fs
}
