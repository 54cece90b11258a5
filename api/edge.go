package api

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"net/url"
	"runtime/debug"
	"time"

	"github.com/labstack/echo/v4"

	"wetside/lab"
	"wetside/lab/database"
)

// edge is the one place that knows Echo: it routes the table's operations,
// and turns every error, Echo's own too, into problem details.
//
// There is no group middleware: Group.Use registers catch-all routes, which
// turn a wrong method into 404 without Allow.
func (a *API) edge(table []operation) http.Handler {
	e := echo.New()
	e.HideBanner, e.HidePort = true, true
	e.IPExtractor = callers(a.proxies)
	e.HTTPErrorHandler = func(err error, c echo.Context) {
		// around answers all errors; one that still comes here came after.
		a.log.Error("error after the answer", "error", err.Error())
	}
	known := map[string]bool{}
	e.Use(a.around(known))
	if len(a.origins) > 0 {
		e.Use(crossOrigin(a.origins))
	}
	for _, op := range table {
		known[op.Path] = true
		e.Add(op.Method, op.Path, a.route(op))
		if op.Method == http.MethodGet {
			e.Add(http.MethodHead, op.Path, a.route(op)) // net/http drops the body
		}
	}
	return e
}

// route makes an Echo handler of an operation.
func (a *API) route(op operation) echo.HandlerFunc {
	return func(c echo.Context) error {
		if op.Plain != nil {
			r := c.Request()
			for i, name := range c.ParamNames() {
				r.SetPathValue(name, c.ParamValues()[i])
			}
			return op.Plain(c.Response(), r)
		}
		if !a.opened.Load() {
			return &failure{status: http.StatusServiceUnavailable, code: "database-unavailable",
				detail: "the database is not ready yet", header: map[string]string{"Retry-After": "2"}}
		}
		if err := a.quotas.admit(c.Response(), op, network(c.RealIP()), a.clock()); err != nil {
			return err
		}
		path := map[string]string{}
		for i, name := range c.ParamNames() {
			path[name] = c.ParamValues()[i]
			// Echo routes by the escaped path where it differs from the usual spelling.
			if plain, err := url.PathUnescape(path[name]); err == nil && c.Request().URL.RawPath != "" {
				path[name] = plain
			}
		}
		return a.serve(op, c.Response(), c.Request(), path)
	}
}

// around gives a request its id, answers its error or panic, and logs and
// measures it. Logs hold no token, name or body, and route templates, not paths.
func (a *API) around(known map[string]bool) echo.MiddlewareFunc {
	return func(next echo.HandlerFunc) echo.HandlerFunc {
		return func(c echo.Context) (err error) {
			start := time.Now()
			w := c.Response()
			id := identify(c.Request().Header)
			c.SetRequest(id.named(c.Request()))
			w.Header().Set("X-Request-Id", id.given)
			guardHeaders(w.Header(), c.IsTLS())
			route := "none"
			if known[c.Path()] {
				route = c.Path()
			}
			defer func() {
				if thrown := recover(); thrown != nil {
					if thrown == http.ErrAbortHandler {
						panic(thrown)
					}
					err = fmt.Errorf("panic: %v\n%s", thrown, debug.Stack())
				}
				err = asOurs(err)
				if err != nil && !w.Committed {
					writeProblem(w, err, id.own)
				}
				if w.Header().Get("Content-Type") != eventStream { // streams last as long as somebody listens
					a.metrics.observe(c.Request().Method, route, w.Status, time.Since(start))
				}
				a.logRequest(c.Request(), route, w.Status, id, time.Since(start), err)
				err = nil // it has been answered and logged
			}()
			return next(c)
		}
	}
}

// asOurs turns Echo's own errors into ours, and a deadline that passed into
// what it means: too much at once.
func asOurs(err error) error {
	var routing *echo.HTTPError
	switch {
	case errors.As(err, &routing) && routing.Code == http.StatusNotFound:
		return lab.Refuse(lab.NotFound, "not-found", "there is nothing at this address")
	case errors.As(err, &routing) && routing.Code == http.StatusMethodNotAllowed:
		return &failure{status: routing.Code, code: "method-not-allowed", detail: "Allow lists the methods that this address knows"}
	case errors.Is(err, database.ErrBusy),
		errors.Is(err, context.DeadlineExceeded) && !errors.Is(err, database.ErrNoConnection) && !errors.Is(err, database.ErrUnknownOutcome):
		return &failure{status: http.StatusServiceUnavailable, code: "busy",
			detail: "others are changing the same things at this moment; nothing was changed",
			header: map[string]string{"Retry-After": "1"}}
	}
	return err
}

func (a *API) logRequest(r *http.Request, route string, status int, id identity, took time.Duration, err error) {
	level := slog.LevelInfo
	attrs := []slog.Attr{
		slog.String("method", methodLabel(r.Method)),
		slog.String("route", route),
		slog.Int("status", status),
		slog.Int64("duration_us", took.Microseconds()),
		slog.String("request_id", id.given),
		slog.String("instance", id.own),
	}
	var refusal *lab.Refusal
	var fail *failure
	switch {
	case errors.As(err, &refusal):
		attrs = append(attrs, slog.String("code", refusal.Code)) // its text may name people
	case errors.As(err, &fail):
		attrs = append(attrs, slog.String("code", fail.code))
	case err != nil && r.Context().Err() != nil:
		attrs = append(attrs, slog.Bool("caller_gone", true))
	case err != nil:
		level = slog.LevelError
		attrs = append(attrs, slog.String("error", err.Error()))
	}
	a.log.LogAttrs(r.Context(), level, "request", attrs...)
}
