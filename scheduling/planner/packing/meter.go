package packing

import "context"

// A meter counts work and says when it is enough.
type meter struct {
	ctx    context.Context
	done   int64
	limit  int64
	next   int64 // when to look at ctx again
	effort Effort
	broken bool // by ctx
}

// lookEvery is the work between two looks at the context: a few milliseconds.
const lookEvery = 1_000_000

func newMeter(ctx context.Context, limit int64) *meter {
	if limit <= 0 {
		limit = defaultWork
	}
	return &meter{ctx: ctx, limit: limit}
}

// spend counts work and says whether there is more to spend.
func (mt *meter) spend(n int64) bool {
	mt.done += n
	if mt.done >= mt.next {
		mt.next = mt.done + lookEvery
		mt.broken = mt.broken || mt.ctx.Err() != nil
	}
	return !mt.broken && mt.done < mt.limit
}

// over says that there is no more to spend.
func (mt *meter) over() bool { return !mt.spend(0) }
