package api

import (
	"net/http"
	"slices"
	"strconv"
	"time"

	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
)

// metrics are what /metrics tells, in a registry of its own. Labels are route
// templates, known methods and kinds of jobs, so that no caller can make new series.
type metrics struct {
	requests *prometheus.HistogramVec
	retries  *prometheus.CounterVec
	handler  http.Handler
}

func newMetrics(pool *pgxpool.Pool, streams func() float64, clock func() time.Time) *metrics {
	m := &metrics{
		requests: prometheus.NewHistogramVec(prometheus.HistogramOpts{
			Name:    "http_server_request_duration_seconds",
			Help:    "Time from a request's first byte to its answer's last.",
			Buckets: []float64{.001, .0025, .005, .01, .025, .05, .1, .25, .5, 1, 2.5, 5, 10},
		}, []string{"method", "route", "status"}),
		retries: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "wetside_transaction_retries_total",
			Help: "Transactions begun again, by the SQLSTATE that asked for it; none for a dead connection.",
		}, []string{"sqlstate"}),
	}
	gauge := func(name, help string, value func(*pgxpool.Stat) float64) prometheus.Collector {
		return prometheus.NewGaugeFunc(prometheus.GaugeOpts{Name: name, Help: help},
			func() float64 { return value(pool.Stat()) })
	}
	registry := prometheus.NewRegistry()
	registry.MustRegister(m.requests, m.retries, newBacklog(pool, clock),
		collectors.NewGoCollector(),
		collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}),
		prometheus.NewGaugeFunc(prometheus.GaugeOpts{
			Name: "wetside_streams", Help: "Streams of server-sent events open."}, streams),
		gauge("wetside_pool_max_connections", "Connections that the pool may open.",
			func(s *pgxpool.Stat) float64 { return float64(s.MaxConns()) }),
		gauge("wetside_pool_connections", "Connections open.",
			func(s *pgxpool.Stat) float64 { return float64(s.TotalConns()) }),
		gauge("wetside_pool_connections_in_use", "Connections that requests hold.",
			func(s *pgxpool.Stat) float64 { return float64(s.AcquiredConns()) }),
		prometheus.NewCounterFunc(prometheus.CounterOpts{
			Name: "wetside_pool_acquire_waits_total", Help: "Requests that had to wait for a connection."},
			func() float64 { return float64(pool.Stat().EmptyAcquireCount()) }),
		prometheus.NewCounterFunc(prometheus.CounterOpts{
			Name: "wetside_pool_acquire_canceled_total", Help: "Requests that gave up waiting for a connection."},
			func() float64 { return float64(pool.Stat().CanceledAcquireCount()) }),
	)
	m.handler = promhttp.HandlerFor(registry, promhttp.HandlerOpts{})
	return m
}

func (m *metrics) observe(method, route string, status int, took time.Duration) {
	m.requests.WithLabelValues(methodLabel(method), route, strconv.Itoa(status)).Observe(took.Seconds())
}

func (m *metrics) retried(sqlState string) {
	if sqlState == "" {
		sqlState = "none"
	}
	m.retries.WithLabelValues(sqlState).Inc()
}

var usualMethods = []string{http.MethodGet, http.MethodHead, http.MethodPost, http.MethodPatch, http.MethodDelete, http.MethodPut, http.MethodOptions}

// methodLabel is the method if it is a usual one: callers may make up any.
func methodLabel(method string) string {
	if slices.Contains(usualMethods, method) {
		return method
	}
	return "other"
}
