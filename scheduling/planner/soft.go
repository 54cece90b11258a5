package planner

// A softness is what the levels cost when a search weighs them against each
// other for a while, so as to pass through plans that are worse at a level above
// to ones that are better below. What is best is judged level by level all the
// same.
type softness struct{ displaced, late, chemistry, run, finish int64 }

// softRun is what a run costs; the others are measured by it.
const softRun = 1 << 20

func (m *model) softness(late int64) *softness {
	var price int64
	for i := range m.sets {
		price = max(price, m.sets[i].price)
	}
	// Late weighs as many runs as given a weighted day; a kit six runs, a day
	// of finishing sooner one.
	return &softness{
		displaced: 200 * softRun, late: late * softRun / 4, chemistry: 6 * softRun / max(price, 1), run: softRun, finish: softRun / day,
	}
}

// gain is what placing a roll costs.
func (so *softness) gain(g *gain) int64 {
	return times(so.late, g[0]) + times(so.chemistry, g[1]) + times(so.run, g[2]) + times(so.finish, g[3])
}

// score orders worths: what they cost in all, then level by level.
func (so *softness) score(w *worth) worth {
	if so == nil {
		return *w
	}
	return worth{
		times(so.displaced, w[displaced]) + times(so.late, w[lateness]) + times(so.chemistry, w[chemistry]) + times(so.run, w[runs]) + times(so.finish, w[finish]),
		w[displaced], w[lateness], w[chemistry], w[runs], w[finish],
	}
}

// times multiplies without overflow: what is very large stays so.
func times(a, b int64) int64 {
	const most = 1 << 58
	if b > most/max(a, 1) {
		return most
	}
	if b < -most/max(a, 1) {
		return -most
	}
	return a * b
}
