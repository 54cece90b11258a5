package planner

import (
	"fmt"

	"wetside/lab/units"
)

// rollEquivalent is the trade's 80 square inches in mm² (common practice).
const rollEquivalent = 51_613

// rolls writes an area in roll-equivalents, to one decimal, rounded down or up.
func rollsDown(area int64) string { return tenths(max(area, 0) * 10 / rollEquivalent) }
func rollsUp(area int64) string   { return tenths((area*10 + rollEquivalent - 1) / rollEquivalent) }

func tenths(n int64) string { return fmt.Sprintf("%d.%d", n/10, n%10) }

// clock writes an instant in the offset of its session.
func (m *model) clock(sess int, sec int64) string {
	return m.at(sec).In(m.p.Sessions[sess].Start.Location()).Format("2 Jan 15:04")
}

func plural(n int64, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// shapeDetail words a rule that the batch breaks whenever it is.
func (ex *explainer) shapeDetail(b *batch, code string) {
	m := ex.s.m
	sess := &m.p.Sessions[b.sess]
	tank := &m.tanks[m.sess[b.sess].tank]
	switch code {
	case ReasonReels:
		for k, n := range b.reels {
			if n > m.kinds[k].count {
				ex.add(code, sess.ID, "needs %s, the lab has %d", plural(n, m.p.Reels[k].Kind+" reel", m.p.Reels[k].Kind+" reels"), m.kinds[k].count)
			}
		}
	case ReasonTankHeight:
		var height int64
		for k, n := range b.reels {
			height += n * m.kinds[k].height
		}
		ex.add(code, sess.ID, "the reels would stack to %d mm, tank %s takes %d mm", height, sess.Tank, tank.height)
	case ReasonSolution:
		volume := tank.volume
		for _, i := range m.sets[b.set].baths {
			volume = min(volume, m.baths[i].volume)
		}
		ex.add(code, sess.ID, "the reels need %d mL to cover them, bath set %s in tank %s gives %d mL", b.need, m.p.BathSets[b.set].ID, sess.Tank, volume)
	case ReasonRunArea:
		carried := int64(never)
		for _, i := range m.sets[b.set].baths {
			if ba := &m.baths[i]; ba.run >= 0 {
				carried = min(carried, ba.run*min(ba.volume, tank.volume)/1000)
			}
		}
		ex.add(code, sess.ID, "the run would hold %s roll-equivalents, bath set %s carries %s in one", rollsUp(b.area), m.p.BathSets[b.set].ID, rollsDown(carried))
	default:
		ex.add(code, sess.ID, "bath set %s does not serve it", m.p.BathSets[b.set].ID)
	}
}

// capacityDetail words what a bath has too little of. The batch's own use is
// not in the bath's.
func (ex *explainer) capacityDetail(b *batch, bath int) {
	s, m := ex.s, ex.s.m
	ba := &m.baths[bath]
	sess, set := m.p.Sessions[b.sess].ID, m.p.BathSets[b.set].ID
	switch {
	case b.area > ba.area-s.area[bath]:
		ex.add(ReasonBathCapacity, sess, "bath set %s has %s roll-equivalents left, needs %s", set, rollsDown(ba.area-s.area[bath]), rollsUp(b.area))
	case s.runs[bath] >= ba.runs:
		ex.add(ReasonBathCapacity, sess, "bath set %s has no run left", set)
	default:
		ex.add(ReasonBathCapacity, sess, "bath set %s has %d mL left, needs %d mL", set, ba.volume-s.drawn[bath], ba.draw(b.area, b.need))
	}
}

// limitDetail words a batch that has no time though nothing else happens.
func (ex *explainer) limitDetail(b *batch, code string) {
	m := ex.s.m
	sess := m.p.Sessions[b.sess].ID
	switch code {
	case ReasonBathLife:
		ex.add(code, sess, "bath set %s is dead before it could be used", m.p.BathSets[b.set].ID)
	case ReasonBathBusy:
		ex.add(code, sess, "bath set %s is mixed only at %s", m.p.BathSets[b.set].ID, m.clock(b.sess, ex.s.mixedAt[b.set]))
	case ReasonHandedIn:
		var in int64
		for _, r := range b.rolls {
			in = max(in, m.rolls[r].in)
		}
		ex.add(code, sess, "film is handed in at %s, too late for a run in the session, which ends at %s", m.clock(b.sess, in), m.clock(b.sess, m.sess[b.sess].end))
	default:
		ex.add(code, sess, "a run takes %s, the session is %s", ex.length(b).Words(), units.Duration(m.sess[b.sess].end-m.sess[b.sess].start).Words())
	}
}

// length is how long a shaped batch has its tank.
func (ex *explainer) length(b *batch) units.Duration {
	m := ex.s.m
	set, cl, tank := &m.sets[b.set], &m.class[b.class], &m.tanks[m.sess[b.sess].tank]
	total := max(tank.warm[cl.process], b.load) + cl.wet + tank.clean
	if set.mix && ex.s.mixedAt[b.set] == never {
		total += set.takes
	}
	return units.Duration(total)
}

// timeDetail words a rule of time for a batch that has its times by the limits
// alone.
func (ex *explainer) timeDetail(b *batch, rule string) {
	s, m := ex.s, ex.s.m
	sess := m.p.Sessions[b.sess].ID
	switch rule {
	case ReasonReels:
		for k, n := range b.reels {
			kind := m.p.Reels[k].Kind
			dry := m.kinds[k].count - peak(s.reels[k], span{b.mixed, b.end + m.kinds[k].dry})
			if n > dry {
				ex.add(rule, sess, "needs %s, %d dry at %s", plural(n, kind+" reel", kind+" reels"), max(dry, 0), m.clock(b.sess, b.mixed))
			}
		}
		ex.add(rule, sess, "too few dry reels at any time of the session")
	case ReasonOperator:
		ex.add(rule, sess, "%s is needed at another run whenever one could begin", m.operator(b.sess))
	case ReasonBathBusy:
		ex.add(rule, sess, "bath set %s is in other runs whenever one could begin", m.p.BathSets[b.set].ID)
	case ReasonCabinet:
		var need, free int64
		for c, takes := range m.rolls[ex.roll].takes {
			if takes == 0 {
				continue
			}
			free += m.cabs[c].positions - peak(s.drying[c], span{b.end, b.end + m.cabs[c].dry})
		}
		for _, r := range b.rolls {
			need += fewestPlaces(m.rolls[r].takes)
		}
		ex.add(rule, sess, "needs %s, %d free from %s", plural(need, "hanging position", "hanging positions"), max(free, 0), m.clock(b.sess, b.end))
	default:
		ex.add(ReasonSessionTime, sess, "a run takes %s, the tank is not free that long in the session", ex.length(b).Words())
	}
}

func (m *model) operator(sess int) string {
	if who := m.p.Sessions[sess].Operator; who != "" {
		return who
	}
	return "the operator"
}
