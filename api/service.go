package api

import (
	"context"
	"encoding/json"
	"net/http"
	"slices"
	"strings"
	"time"

	"wetside/lab"
	"wetside/migrations"
)

// readyWait is how long the database may take to answer /readyz.
const readyWait = time.Second

func (a *API) serviceOperations() []operation {
	return []operation{
		{ID: "getLive", Method: http.MethodGet, Path: "/livez", Who: nobody, Plain: a.getLive},
		{ID: "getReady", Method: http.MethodGet, Path: "/readyz", Who: nobody, Plain: a.getReady},
		{ID: "getMetrics", Method: http.MethodGet, Path: "/metrics", Who: nobody, Plain: a.getMetrics},
		{ID: "getKeySet", Method: http.MethodGet, Path: "/.well-known/jwks.json", Who: nobody, Plain: a.getKeySet},
		{ID: "getContract", Method: http.MethodGet, Path: "/openapi.yaml", Who: nobody, Plain: a.getContract},
		{ID: "getReference", Method: http.MethodGet, Path: "/", Who: nobody, Plain: a.getReference},
		{ID: "getProblem", Method: http.MethodGet, Path: "/problems/:code", Who: nobody, Plain: a.getProblem},
	}
}

// getLive says that the process runs, whatever the database does.
func (a *API) getLive(w http.ResponseWriter, _ *http.Request) error {
	return writeJSON(w, map[string]string{"status": "ok"})
}

// getReady says whether requests can be answered: the database is there, has
// the schema, and the server is not about to stop. Every check that fails is named.
func (a *API) getReady(w http.ResponseWriter, r *http.Request) error {
	not := lab.Refuse(lab.Unavailable, "not-ready", "requests cannot be answered at the moment")
	if a.draining.Load() {
		not.With("", "stopping", "the server is about to stop")
	}
	ctx, cancel := context.WithTimeout(r.Context(), readyWait)
	defer cancel()
	at, newest, err := migrations.Current(ctx, a.pool)
	switch {
	case err != nil:
		not.With("", "database", "the database does not answer")
	case at < newest:
		not.With("", "schema", "the database is at version %d, the program needs %d", at, newest)
	case !a.opened.Load():
		not.With("", "starting", "the server has not finished starting")
	}
	if err := not.OrNil(); err != nil {
		return err
	}
	return writeJSON(w, map[string]string{"status": "ok"})
}

func writeJSON(w http.ResponseWriter, v any) error {
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Cache-Control", "no-store")
	return json.NewEncoder(w).Encode(v)
}

func (a *API) getMetrics(w http.ResponseWriter, r *http.Request) error {
	a.metrics.handler.ServeHTTP(w, r)
	return nil
}

// getKeySet publishes the public parts of the signing keys (RFC 7517).
func (a *API) getKeySet(w http.ResponseWriter, r *http.Request) error {
	now := instant(a.clock())
	ring, err := a.mint.keys.read(r.Context(), now, ringAge)
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "application/jwk-set+json")
	w.Header().Set("Cache-Control", "public, max-age=300")
	return json.NewEncoder(w).Encode(ring.Published(now))
}

func (a *API) getContract(w http.ResponseWriter, _ *http.Request) error {
	w.Header().Set("Content-Type", "application/yaml")
	_, err := w.Write(a.document)
	return err
}

// pagePolicy lets pages have their own styles and nothing else, from nowhere else.
const pagePolicy = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

func (a *API) getReference(w http.ResponseWriter, _ *http.Request) error {
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Content-Security-Policy", pagePolicy)
	_, err := w.Write(a.reference)
	return err
}

// getProblem explains a problem type to whoever follows a problem's type: a
// page for browsers, JSON for those who accept that and no HTML.
func (a *API) getProblem(w http.ResponseWriter, r *http.Request) error {
	code := r.PathValue("code")
	i := slices.IndexFunc(problemTypes, func(t problemType) bool { return t.Code == code })
	if i < 0 {
		return lab.Refuse(lab.NotFound, "not-found", "there is no such problem type")
	}
	w.Header().Set("Vary", "Accept")
	accept := r.Header.Get("Accept")
	if strings.Contains(accept, "json") && !strings.Contains(accept, "text/html") {
		return writeJSON(w, problemTypes[i])
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Content-Security-Policy", pagePolicy)
	return problemPage.Execute(w, problemTypes[i])
}
