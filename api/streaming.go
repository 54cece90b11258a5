package api

import (
	"fmt"
	"net/http"
	"sync"
)

// streaming counts the streams that are open: on this server, since it is the
// server's connections that they take.
type streaming struct {
	mu   sync.Mutex
	of   map[string]int
	open int
}

// enter takes a place for a stream of a member. It refuses with
// "too-many-streams" where there is none.
func (n *streaming) enter(member string) (leave func(), err error) {
	n.mu.Lock()
	defer n.mu.Unlock()
	if n.of[member] >= streamsPerMember || n.open >= streamsInAll {
		return nil, &failure{status: http.StatusTooManyRequests, code: "too-many-streams",
			detail: fmt.Sprintf("a member may have %d streams open at a time", streamsPerMember),
			header: map[string]string{"Retry-After": "5"}}
	}
	if n.of == nil {
		n.of = map[string]int{}
	}
	n.of[member]++
	n.open++
	return func() {
		n.mu.Lock()
		defer n.mu.Unlock()
		n.open--
		if n.of[member]--; n.of[member] == 0 {
			delete(n.of, member)
		}
	}, nil
}

// count is how many streams are open.
func (n *streaming) count() float64 {
	n.mu.Lock()
	defer n.mu.Unlock()
	return float64(n.open)
}
