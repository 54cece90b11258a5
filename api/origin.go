package api

import (
	"net"
	"net/http"
	"net/netip"

	"github.com/labstack/echo/v4"
	"github.com/labstack/echo/v4/middleware"
)

// callers says what address a request comes from. Behind the given proxies it is
// the last in X-Forwarded-For that is none of theirs: what stands before that is
// anybody's to write. Without proxies it is the connection's.
func callers(proxies []netip.Prefix) echo.IPExtractor {
	if len(proxies) == 0 {
		return echo.ExtractIPDirect()
	}
	trust := []echo.TrustOption{echo.TrustLoopback(false), echo.TrustLinkLocal(false), echo.TrustPrivateNet(false)}
	for _, p := range proxies {
		_, ipNet, err := net.ParseCIDR(p.Masked().String())
		if err == nil { // a prefix is always written so that it can be read
			trust = append(trust, echo.TrustIPRange(ipNet))
		}
	}
	return echo.ExtractIPFromXFFHeader(trust...)
}

// crossOrigin lets pages of the given origins call the API from a browser (Fetch
// Standard, CORS). Tokens go in a header that pages set themselves, so cookies
// and other credentials of the browser's are not let along.
func crossOrigin(origins []string) echo.MiddlewareFunc {
	return middleware.CORSWithConfig(middleware.CORSConfig{
		AllowOrigins: origins,
		AllowMethods: usualMethods,
		AllowHeaders: []string{"Authorization", "Content-Type", "Idempotency-Key", "If-Match", "If-None-Match", "Last-Event-ID", "X-Request-Id"},
		ExposeHeaders: []string{"ETag", "Idempotency-Replayed", "Link", "Location", "RateLimit", "RateLimit-Policy",
			"Retry-After", "WWW-Authenticate", "X-Request-Id"},
		MaxAge: 600, // seconds; browsers keep no longer than a few hours anyway
	})
}

// apiPolicy is for answers that are no pages: should a browser take one for a
// page, it loads and runs nothing (OWASP REST Security Cheat Sheet).
const apiPolicy = "default-src 'none'; frame-ancestors 'none'"

// guardHeaders sets what every answer carries against being misread by a browser.
func guardHeaders(h http.Header, overTLS bool) {
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Content-Security-Policy", apiPolicy)
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Referrer-Policy", "no-referrer")
	if overTLS {
		h.Set("Strict-Transport-Security", "max-age=31536000") // RFC 6797; a proxy that ends TLS sets its own
	}
}
