package telling

import (
	"errors"
	"math"
	"net/http"
	"strconv"
	"time"
)

// retryAfter is how long an answer asks to be left alone, by a Retry-After
// (RFC 9110, 10.2.3) of seconds or of a date. It is 0 where it does not ask, or
// nobody can tell for how long: an answer of another status than 429 and 503, a
// date that has passed, several values, anything that is neither.
func retryAfter(status int, header http.Header, now time.Time) time.Duration {
	said := header.Values("Retry-After")
	if status != http.StatusTooManyRequests && status != http.StatusServiceUnavailable || len(said) != 1 {
		return 0
	}
	seconds, err := strconv.ParseUint(said[0], 10, 31)
	if errors.Is(err, strconv.ErrRange) {
		seconds, err = math.MaxInt32, nil // longer than anybody waits
	}
	if err == nil {
		return time.Duration(seconds) * time.Second
	}
	date, err := http.ParseTime(said[0])
	if err != nil {
		return 0
	}
	return max(date.Sub(now), 0)
}
