package api

import (
	"fmt"
	"math"
	"net/http"
	"net/netip"
	"strconv"
	"sync"
	"time"

	"golang.org/x/time/rate"
)

// Limits are how many requests a minute one server answers to one address, to
// one member, and to one address that signs in; 0 is no limit. They keep one
// caller from taking a server from all others, so each server counts for itself;
// guesses at a password are counted in the database (package signin).
type Limits struct {
	Address, Member, SignIn int
}

// window is the span that quotas are given for. Whatever part of one was used is
// whole again after that span.
const window = time.Minute

// A quota limits requests by key with a token bucket each: so many at once, and
// as many in a window again.
type quota struct {
	name string
	size int

	mu     sync.Mutex
	since  time.Time
	recent map[string]*rate.Limiter // used since then
	before map[string]*rate.Limiter // used in the window before that
}

func newQuota(name string, size int) *quota { return &quota{name: name, size: size} }

// A standing is how a caller stands with a quota.
type standing struct {
	quota *quota
	ok    bool
	left  int
	// reset is how long until a request is answered again, or until the whole
	// quota is there again if one is answered now.
	reset time.Duration
}

// take counts one request of a caller. A quota of size 0 lets all pass.
func (q *quota) take(key string, now time.Time) standing {
	if q.size == 0 {
		return standing{ok: true}
	}
	bucket := q.bucket(key, now)
	s := standing{quota: q, ok: bucket.AllowN(now, 1)}
	tokens := bucket.TokensAt(now)
	s.left = max(0, int(tokens))
	missing := float64(q.size) - tokens
	if !s.ok {
		missing = 1 - tokens
	}
	s.reset = time.Duration(missing / float64(bucket.Limit()) * float64(time.Second))
	return s
}

// bucket finds a caller's bucket. Those that were not used for a whole window are
// full, as a new one is, and are forgotten: there are never more than callers in
// two windows.
func (q *quota) bucket(key string, now time.Time) *rate.Limiter {
	q.mu.Lock()
	defer q.mu.Unlock()
	if passed := now.Sub(q.since); q.recent == nil || passed >= window || passed < 0 {
		q.before = q.recent
		if passed >= 2*window {
			q.before = nil
		}
		q.recent, q.since = map[string]*rate.Limiter{}, now
	}
	b := q.recent[key]
	if b == nil {
		if b = q.before[key]; b == nil {
			b = rate.NewLimiter(rate.Limit(float64(q.size)/window.Seconds()), q.size)
		}
		q.recent[key] = b
	}
	return b
}

// tell states the standing in an answer's header, by
// draft-ietf-httpapi-ratelimit-headers. Of several the last told stands.
func (s standing) tell(header http.Header) {
	if s.quota == nil {
		return
	}
	header.Set("RateLimit-Policy", fmt.Sprintf(`"%s";q=%d;w=%d`, s.quota.name, s.quota.size, int(window.Seconds())))
	header.Set("RateLimit", fmt.Sprintf(`"%s";r=%d;t=%d`, s.quota.name, s.left, s.seconds()))
}

func (s standing) seconds() int { return max(1, int(math.Ceil(s.reset.Seconds()))) }

// limited counts a request and states the standing. It fails with 429 once there
// is nothing left.
func limited(w http.ResponseWriter, s standing) error {
	s.tell(w.Header())
	if s.ok {
		return nil
	}
	return &failure{status: http.StatusTooManyRequests, code: "too-many-requests",
		detail: "that is more than one caller may ask in a minute; nothing was done",
		header: map[string]string{"Retry-After": strconv.Itoa(s.seconds())}}
}

// A quotas holds all quotas of a server.
type quotas struct{ address, signIn, member *quota }

func newQuotas(l Limits) quotas {
	return quotas{address: newQuota("address", l.Address), signIn: newQuota("sign-in", l.SignIn), member: newQuota("member", l.Member)}
}

// admit counts a request by the address it came from, before anything is known
// of who asks. Signing in has a quota of its own, since guesses cost a guesser least.
func (q quotas) admit(w http.ResponseWriter, op operation, address string, now time.Time) error {
	if err := limited(w, q.address.take(address, now)); err != nil || !op.Who.public || !op.writes() {
		return err
	}
	return limited(w, q.signIn.take(address, now))
}

// network is what counts as one caller's address: whoever has an address of IPv6
// has the other 2^64 of its network too.
func network(address string) string {
	a, err := netip.ParseAddr(address)
	if err != nil || a.Unmap().Is4() {
		return address
	}
	return netip.PrefixFrom(a.WithZone(""), 64).Masked().String()
}
