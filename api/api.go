package api

import (
	"cmp"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/netip"
	"runtime"
	"sync/atomic"
	"time"

	"github.com/jackc/pgx/v5/pgxpool"

	"wetside/lab/database"
	"wetside/lab/signin"
	"wetside/lab/signin/openid"
	"wetside/lab/units"
)

// secretBytes is the length of the installation's secret.
const secretBytes = 32

// Config is what an API is made of.
type Config struct {
	// Pool is the database; it need not be reachable yet.
	Pool *pgxpool.Pool
	// Contract is openapi/wetside.yaml, and Reference a page made of it.
	Contract, Reference []byte
	// Secret is the installation's, 32 bytes: it seals the signing keys in the
	// database and what else must not be read or made up there.
	Secret []byte
	// Issuer and Audience stand in tokens, and no others are taken.
	Issuer, Audience string
	TokenLifetime    units.Duration
	// SetupCode is traded for the token that makes labs; empty for none.
	SetupCode string
	// PasswordLength is how many characters a password has at least; 0 is the usual.
	PasswordLength int
	// Provider is the OpenID provider that members may sign in through; nil is none.
	Provider *openid.Provider
	// Mails says that the jobs' mail goes somewhere. SignInPage, unless empty, is
	// the page of the co-op's own that mailed invitations link to.
	Mails      bool
	SignInPage string
	// Limits are how much one caller may ask. Proxies are the networks of the
	// proxies that requests come through, whose word on the caller's address is
	// taken. Origins are those whose pages may call from a browser; none, unless given.
	Limits  Limits
	Proxies []netip.Prefix
	Origins []string
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
	pool       *pgxpool.Pool
	store      *database.Store
	contract   *contract
	document   []byte
	reference  []byte
	mint       mint
	pager      pager
	setupCode  string
	hasher     *signin.Hasher
	password   int
	provider   *openid.Provider
	mails      bool
	signInPage string
	trial      bool
	clock      func() time.Time
	random     io.Reader
	log        *slog.Logger
	metrics    *metrics
	handler    http.Handler
	long       chan struct{} // a place for each long operation under way
	turns      turns
	planning   turns
	quotas     quotas
	proxies    []netip.Prefix
	origins    []string
	streams    streaming
	boards     *watcher
	heartbeat  time.Duration
	drained    context.Context // done once the server is about to stop
	drain      context.CancelFunc
	opened     atomic.Bool
	draining   atomic.Bool
}

// New makes an API. It fails if the configuration is incomplete, or if the
// contract and the table of operations differ in any operation.
func New(cfg Config) (*API, error) {
	if len(cfg.Secret) != secretBytes {
		return nil, fmt.Errorf("the secret has %d bytes, not %d", len(cfg.Secret), secretBytes)
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
			secret: cfg.Secret,
			issuer: cfg.Issuer, audience: cfg.Audience, lifetime: cfg.TokenLifetime.Std(),
		},
		setupCode: cfg.SetupCode, password: cmp.Or(cfg.PasswordLength, signin.LeastPassword),
		provider: cfg.Provider, mails: cfg.Mails, signInPage: cfg.SignInPage, trial: cfg.Trial, log: cfg.Log,
		quotas: newQuotas(cfg.Limits), proxies: cfg.Proxies, origins: cfg.Origins,
		turns: turns{atOnce: changesAtOnce}, planning: turns{atOnce: 1},
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
	a.metrics = newMetrics(cfg.Pool, a.streams.count, a.clock)
	a.store = database.NewStore(cfg.Pool, a.metrics.retried)
	a.boards = &watcher{store: a.store, drained: a.drained, poll: boardPoll, clock: a.clock}
	a.hasher = signin.NewHasher(a.random)
	vault, err := signin.NewVault(derived(cfg.Secret, signingKeys), a.mint.lifetime, a.random)
	if err != nil {
		return nil, err
	}
	a.mint.keys = &keyring{vault: vault, store: a.store, log: cfg.Log}
	table := a.operations()
	if err := c.covers(table); err != nil {
		return nil, err
	}
	a.handler = a.edge(table)
	return a, nil
}

// Vault is where the signing keys of an installation are, by its secret.
func Vault(secret []byte, tokens time.Duration) (*signin.Vault, error) {
	return signin.NewVault(derived(secret, signingKeys), tokens, rand.Reader)
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
