package checker

import (
	"math"
	"math/bits"
	"time"
)

// maxSpan keeps instants of nonsense plans within what time.Duration holds: a
// hundred years, in seconds.
const maxSpan = 100 * 366 * 86400

// after is t plus so many seconds.
func after(t time.Time, seconds int64) time.Time {
	return t.Add(time.Duration(min(max(seconds, -maxSpan), maxSpan)) * time.Second)
}

// add and mul are of amounts that make sense, none negative, and stop at the
// largest instead of wrapping; what is negative counts as 0.
func add(a, b int64) int64 {
	a, b = max(a, 0), max(b, 0)
	if a > math.MaxInt64-b {
		return math.MaxInt64
	}
	return a + b
}

func mul(a, b int64) int64 {
	hi, lo := bits.Mul64(uint64(max(a, 0)), uint64(max(b, 0)))
	if hi != 0 || lo > math.MaxInt64 {
		return math.MaxInt64
	}
	return int64(lo)
}

// ceilDiv is a ÷ b rounded up, for a ≥ 0 and b > 0.
func ceilDiv(a, b int64) int64 {
	q := a / b
	if a%b != 0 {
		q++
	}
	return q
}
