// Package openid reads the ID tokens of a co-op's own OpenID provider (OpenID
// Connect Core 1.0): which key set it has, whose tokens they are, and that each
// was made for Wetside just now.
package openid

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/MicahParks/keyfunc/v3"
	"golang.org/x/time/rate"
)

// How the provider is asked for its keys.
const (
	askTime      = 5 * time.Second
	mostBytes    = 1 << 20
	refreshKeys  = time.Hour
	unknownEvery = 10 * time.Second // at most so often for the sake of a key id it did not list
	unknownWait  = 2 * time.Second
	retryAfter   = 3 * time.Second
)

// A Config names the provider.
type Config struct {
	// Issuer is the provider's, as it stands in its tokens.
	Issuer string
	// Audience is what the provider calls Wetside, its client id there.
	Audience string
	// KeysURL is where its key set is; unless given, the provider is asked
	// (OpenID Connect Discovery 1.0).
	KeysURL string
	// Labs may sign their members in through it; all of them where it is empty.
	Labs []string
}

// ErrAway means that the provider could not be asked for its keys.
var ErrAway = errors.New("the OpenID provider does not answer")

// A Provider is an OpenID provider whose tokens are taken.
type Provider struct {
	config Config
	client *http.Client
	log    *slog.Logger
	life   context.Context

	mu    sync.Mutex
	keys  keyfunc.Keyfunc
	tried time.Time
}

// New makes a provider without asking it anything yet: it may be away. What it
// keeps running ends with life. It fails on a configuration that cannot be.
func New(life context.Context, c Config, log *slog.Logger) (*Provider, error) {
	if c.Audience == "" {
		return nil, errors.New("the OpenID audience must be given")
	}
	for _, address := range []string{c.Issuer, c.KeysURL} {
		if address == "" && c.Issuer != "" {
			continue
		}
		if err := checkURL(address); err != nil {
			return nil, err
		}
	}
	return &Provider{config: c, log: log, life: life, client: &http.Client{
		Timeout:   askTime,
		Transport: bounded{http.DefaultTransport},
		CheckRedirect: func(*http.Request, []*http.Request) error {
			return http.ErrUseLastResponse // the keys are where we were told, or nowhere
		},
	}}, nil
}

// checkURL wants https, or http on this machine.
func checkURL(address string) error {
	u, err := url.Parse(address)
	if err != nil || u.Host == "" || u.User != nil || u.Fragment != "" {
		return errors.New("the OpenID issuer and key set want addresses that begin with https://")
	}
	local := slices.Contains([]string{"localhost", "127.0.0.1", "::1"}, u.Hostname())
	if u.Scheme != "https" && (u.Scheme != "http" || !local) {
		return errors.New("the OpenID issuer and key set want addresses that begin with https://")
	}
	return nil
}

// Serves says whether a lab's members may sign in through the provider.
func (p *Provider) Serves(labID string) bool {
	return p != nil && (len(p.config.Labs) == 0 || slices.Contains(p.config.Labs, labID))
}

// bounded reads no more of an answer than any key set has.
type bounded struct{ http.RoundTripper }

func (b bounded) RoundTrip(r *http.Request) (*http.Response, error) {
	resp, err := b.RoundTripper.RoundTrip(r)
	if err == nil {
		resp.Body = struct {
			io.Reader
			io.Closer
		}{io.LimitReader(resp.Body, mostBytes), resp.Body}
	}
	return resp, err
}

// keySet finds the provider's keys the first time they are wanted.
func (p *Provider) keySet(ctx context.Context) (keyfunc.Keyfunc, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.keys != nil {
		return p.keys, nil
	}
	if time.Since(p.tried) < retryAfter {
		return nil, ErrAway
	}
	address := p.config.KeysURL
	if address == "" {
		var err error
		if address, err = p.discover(ctx); err != nil {
			p.tried = time.Now()
			return nil, fmt.Errorf("%w: %w", ErrAway, err)
		}
	}
	mustAnswer := false
	keys, err := keyfunc.NewDefaultOverrideCtx(p.life, []string{address}, keyfunc.Override{
		Client: p.client, HTTPTimeout: askTime, NoErrorReturnFirstHTTPReq: &mustAnswer,
		RefreshInterval: refreshKeys, RateLimitWaitMax: unknownWait,
		RefreshUnknownKID: rate.NewLimiter(rate.Every(unknownEvery), 1),
		RefreshErrorHandlerFunc: func(string) func(context.Context, error) {
			return func(_ context.Context, err error) {
				p.log.Warn("the OpenID provider's keys could not be read again", "error", err.Error())
			}
		},
	})
	if err != nil {
		p.tried = time.Now()
		return nil, fmt.Errorf("%w: %w", ErrAway, err)
	}
	p.keys = keys
	return keys, nil
}

// discover asks the provider where its keys are.
func (p *Provider) discover(ctx context.Context) (string, error) {
	at := strings.TrimSuffix(p.config.Issuer, "/") + "/.well-known/openid-configuration"
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, at, nil)
	if err != nil {
		return "", err
	}
	resp, err := p.client.Do(req)
	if err != nil {
		return "", err
	}
	defer func() { _ = resp.Body.Close() }()
	var says struct {
		Issuer  string `json:"issuer"`
		KeysURL string `json:"jwks_uri"`
	}
	if err := json.NewDecoder(resp.Body).Decode(&says); err != nil || resp.StatusCode != http.StatusOK {
		return "", fmt.Errorf("discovery was answered %d", resp.StatusCode)
	}
	if says.Issuer != p.config.Issuer {
		return "", errors.New("discovery names another issuer")
	}
	return says.KeysURL, checkURL(says.KeysURL)
}
