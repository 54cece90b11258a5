package loadtest

import (
	"net/http"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"wetside/api/apitest"
	"wetside/deploy/load/labs"
)

// BenchmarkBook books single rolls over many sessions and labs, by 16 clients of
// one server. It reports bookings a second, and how long one takes. As many
// labs are set up as hold the bookings: run it with -benchtime 2000x or so.
func BenchmarkBook(b *testing.B) {
	const clients, sessions = 16, 10
	s := apitest.Start(b)
	web := &http.Client{Transport: transport(clients)}
	var all []*labs.Lab
	for len(all)*sessions*labs.Places < b.N {
		l := newLab(b, s.Pool, sessions, 1, sessions*labs.Places)
		signIn(b, web, s.URL, l)
		all = append(all, l)
	}
	took := make([]time.Duration, b.N)
	var next atomic.Int64
	var wg sync.WaitGroup
	b.ResetTimer()
	start := time.Now()
	for range clients {
		wg.Go(func() {
			for i := int(next.Add(1)) - 1; i < b.N; i = int(next.Add(1)) - 1 {
				l, roll := all[i%len(all)], i/len(all)
				p := l.Members[0]
				began := time.Now()
				status, _, body := send(b.Context(), web, s.URL, l.ID, p.Token, asked{method: http.MethodPost, path: "/bookings", at: today,
					body: map[string]any{"session": l.Sessions[roll/labs.Places], "rolls": p.Rolls[roll : roll+1]}})
				if took[i] = time.Since(began); status != http.StatusCreated {
					b.Errorf("answered %d %s", status, body)
				}
			}
		})
	}
	wg.Wait()
	lasted := time.Since(start)
	slices.Sort(took)
	b.ReportMetric(float64(b.N)/lasted.Seconds(), "bookings/s")
	b.ReportMetric(float64(took[b.N/2].Microseconds())/1000, "ms-p50")
	b.ReportMetric(float64(took[b.N*99/100].Microseconds())/1000, "ms-p99")
}
