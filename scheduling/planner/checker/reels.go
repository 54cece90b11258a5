package checker

// checkReels is rule 5: of each kind no more reels in use, or still wet, than
// there are.
func (j *judge) checkReels() {
	for i := range j.problem.Reels {
		kind := &j.problem.Reels[i]
		var takings []taking
		for _, r := range j.counted() {
			for _, use := range r.Reels {
				if use.Kind == kind.Kind {
					takings = append(takings, taking{r, r.mixed(), after(r.End, int64(kind.Drying)), use.Count})
				}
			}
		}
		for _, over := range overloads(takings, kind.Count) {
			j.add(ruleReels, over.run.ID, "", "%d reels of kind %s in use or wet at %s, the lab has %d",
				over.amount, kind.Kind, stamp(over.from), kind.Count)
		}
	}
}
