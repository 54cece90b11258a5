package api

import (
	"context"
	"crypto/ed25519"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"runtime"
	"sync/atomic"
	"time"

	"github.com/jackc/pgx/v5/pgxpool"

	"wetside/lab/database"
	"wetside/lab/units"
)

// Config is what an API is made of.
type Config struct {
	// Pool is the database; it need not be reachable yet.
	Pool *pgxpool.Pool
	// Contract is openapi/wetside.yaml, and Reference a page made of it.
	Contract, Reference []byte
	// SigningKey is the seed of the Ed25519 key of tokens, 32 bytes.
	SigningKey []byte
	// Issuer and Audience stand in tokens, and no others are taken.
	Issuer, Audience string
	TokenLifetime    units.Duration
	// SetupCode is traded for the token that makes labs; empty for none.
	SetupCode string
	// Trial lets requests set their own time by the header Trial-Time.
	Trial bool
	Log   *slog.Logger
	// Clock and Random are time.Now and crypto/rand.Reader when nil.
	Clock  func() time.Time
	Random io.Reader
}

// An API answers Wetside's HTTP requests. It answers 503 to all but the
// service operations until Open is called.
type API struct {
	pool      *pgxpool.Pool
	store     *database.Store
	contract  *contract
	document  []byte
	reference []byte
	mint      mint
	pager     pager
	setupCode string
	trial     bool
	clock     func() time.Time
	random    io.Reader
	log       *slog.Logger
	metrics   *metrics
	handler   http.Handler
	long      chan struct{} // a place for each long operation under way
	streams   streaming
	boards    *watcher
	heartbeat time.Duration
	drained   context.Context // done once the server is about to stop
	drain     context.CancelFunc
	opened    atomic.Bool
	draining  atomic.Bool
}

// New makes an API. It fails if the configuration is incomplete, or if the
// contract and the table of operations differ in any operation.
func New(cfg Config) (*API, error) {
	if len(cfg.SigningKey) != ed25519.SeedSize {
		return nil, fmt.Errorf("the signing key has %d bytes, not %d", len(cfg.SigningKey), ed25519.SeedSize)
	}
	if cfg.Issuer == "" || cfg.Audience == "" || cfg.TokenLifetime <= 0 || cfg.Pool == nil || cfg.Log == nil {
		return nil, errors.New("issuer, audience, token lifetime, pool and log must be given")
	}
	c, err := readContract(cfg.Contract)
	if err != nil {
		return nil, err
	}
	a := &API{
		pool:     cfg.Pool,
		contract: c, document: cfg.Contract, reference: cfg.Reference,
		mint: mint{
			key:    ed25519.NewKeyFromSeed(cfg.SigningKey),
			issuer: cfg.Issuer, audience: cfg.Audience, lifetime: cfg.TokenLifetime.Std(),
		},
		setupCode: cfg.SetupCode, trial: cfg.Trial, log: cfg.Log,
		clock: cfg.Clock, random: cfg.Random,
		long: make(chan struct{}, runtime.GOMAXPROCS(0)), heartbeat: heartbeat,
	}
	a.drained, a.drain = context.WithCancel(context.Background())
	if a.clock == nil {
		a.clock = time.Now
	}
	if a.random == nil {
		a.random = rand.Reader
	}
	a.pager = pager{key: a.mint.derived("cursors")}
	a.metrics = newMetrics(cfg.Pool, a.streams.count)
	a.store = database.NewStore(cfg.Pool, a.metrics.retried)
	a.boards = &watcher{store: a.store, drained: a.drained, poll: boardPoll}
	table := a.operations()
	if err := c.covers(table); err != nil {
		return nil, err
	}
	a.handler = a.edge(table)
	return a, nil
}

// ServeHTTP answers one request.
func (a *API) ServeHTTP(w http.ResponseWriter, r *http.Request) { a.handler.ServeHTTP(w, r) }

// Open says that the database has the schema that the program needs.
func (a *API) Open() { a.opened.Store(true) }

// Drain says that the server is about to stop: /readyz fails from now on,
// while requests are still answered. Streams end; those who listened come again,
// to another server if there is one.
func (a *API) Drain() {
	a.draining.Store(true)
	a.drain()
}
