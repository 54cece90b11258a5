package demo

import (
	"slices"
	"time"

	"wetside/chemistry"
	"wetside/lab"
	"wetside/scheduling"
)

// find is the item that is so, or the zero one.
func find[T any](items []T, so func(T) bool) T {
	for _, x := range items {
		if so(x) {
			return x
		}
	}
	var none T
	return none
}

func (b *Board) member(id string) lab.Member {
	return find(b.Members, func(m lab.Member) bool { return m.ID == id })
}

func (b *Board) kit(id string) chemistry.Kit {
	return find(b.Kits, func(k chemistry.Kit) bool { return k.ID == id })
}

func (b *Board) roll(id string) scheduling.Roll {
	return find(b.Rolls, func(r scheduling.Roll) bool { return r.ID == id })
}

func (b *Board) tank(id string) lab.Tank {
	return find(b.Tanks, func(t lab.Tank) bool { return t.ID == id })
}

func (b *Board) process(code string) chemistry.Process {
	return find(b.Processes, func(p chemistry.Process) bool { return p.Code == code })
}

func (b *Board) format(code string) chemistry.Format {
	return find(b.Formats, func(f chemistry.Format) bool { return f.Code == code })
}

// sessionName is "Tue long tank".
func (b *Board) sessionName(id string) string {
	e := find(slices.Concat(b.Sessions, b.Others), func(e scheduling.OpenSession) bool { return e.ID == id })
	if e.ID == "" {
		return "a session that is over"
	}
	return b.clock(e.Start, "Mon") + " " + lower(b.tank(e.Tank).Name)
}

// clock is an instant in the lab's wall-clock time.
func (b *Board) clock(t time.Time, layout string) string {
	return t.In(b.Lab.Location()).Format(layout)
}
