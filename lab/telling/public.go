package telling

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/netip"
	"syscall"
	"time"
)

// Bounds of one call to a hook.
const (
	hookConnect = 5 * time.Second
	hookTime    = 20 * time.Second
	hookHeader  = 16 << 10
	hookBody    = 64 << 10 // of an answer, which is thrown away
)

// errNotPublic is an address that nothing outside this machine's network has.
var errNotPublic = errors.New("the address is not a public one")

// hidden are the networks that are not the public Internet, beyond those that
// net/netip knows: from the IANA registries of special-purpose addresses
// (RFC 6890 and its successors). Those of IPv6 that carry an IPv4 address are
// among them, since they may lead to any.
var hidden = []netip.Prefix{
	netip.MustParsePrefix("0.0.0.0/8"),       // this network, RFC 791
	netip.MustParsePrefix("100.64.0.0/10"),   // behind a carrier's address translation, RFC 6598
	netip.MustParsePrefix("192.0.0.0/24"),    // protocol assignments, RFC 6890
	netip.MustParsePrefix("192.0.2.0/24"),    // documentation, RFC 5737
	netip.MustParsePrefix("192.88.99.0/24"),  // 6to4 relays, RFC 7526
	netip.MustParsePrefix("198.18.0.0/15"),   // benchmarks, RFC 2544
	netip.MustParsePrefix("198.51.100.0/24"), // documentation, RFC 5737
	netip.MustParsePrefix("203.0.113.0/24"),  // documentation, RFC 5737
	netip.MustParsePrefix("240.0.0.0/4"),     // reserved, RFC 1112
	netip.MustParsePrefix("::/96"),           // IPv4-compatible, RFC 4291
	netip.MustParsePrefix("64:ff9b::/96"),    // IPv4 translated, RFC 6052
	netip.MustParsePrefix("64:ff9b:1::/48"),  // IPv4 translated, RFC 8215
	netip.MustParsePrefix("100::/64"),        // discarded, RFC 6666
	netip.MustParsePrefix("2001::/23"),       // protocol assignments, Teredo among them, RFC 2928
	netip.MustParsePrefix("2001:db8::/32"),   // documentation, RFC 3849
	netip.MustParsePrefix("2002::/16"),       // 6to4, RFC 3056
	netip.MustParsePrefix("3fff::/20"),       // documentation, RFC 9637
	netip.MustParsePrefix("5f00::/16"),       // segment routing, RFC 9602
	netip.MustParsePrefix("fec0::/10"),       // site-local of old, RFC 3879
}

// public says whether an address is one of the public Internet.
func public(a netip.Addr) bool {
	a = a.Unmap().WithZone("")
	if !a.IsGlobalUnicast() || a.IsPrivate() {
		return false // also loopback, link-local, multicast, unspecified
	}
	for _, p := range hidden {
		if p.Contains(a) {
			return false
		}
	}
	return true
}

// onlyPublic is a dialer's Control: it sees the address that is about to be
// connected to, after every look-up, so that no name can lead inside.
func onlyPublic(_, address string, _ syscall.RawConn) error {
	a, err := netip.ParseAddrPort(address)
	if err != nil || !public(a.Addr()) {
		return errNotPublic
	}
	return nil
}

// caller makes the client that calls hooks. It follows no redirect, asks no
// proxy, keeps no connection, and goes nowhere but the public Internet, unless
// anywhere says so.
func caller(anywhere bool) *http.Client {
	dialer := &net.Dialer{Timeout: hookConnect}
	if !anywhere {
		dialer.Control = onlyPublic
	}
	return &http.Client{
		Timeout: hookTime,
		Transport: &http.Transport{
			DialContext:            dialer.DialContext,
			TLSHandshakeTimeout:    hookConnect,
			MaxResponseHeaderBytes: hookHeader,
			DisableKeepAlives:      true,
			DisableCompression:     true, // no small answer becomes a large one
		},
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}
}

// call posts a body to a hook and gives the status and header of its answer.
func call(ctx context.Context, client *http.Client, url string, header http.Header, body io.Reader) (status int, said http.Header, err error) {
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, url, body)
	if err != nil {
		return 0, nil, errors.New("the address cannot be called")
	}
	req.Header = header
	resp, err := client.Do(req)
	if err != nil {
		return 0, nil, plain(err)
	}
	defer func() { _ = resp.Body.Close() }()
	_, _ = io.Copy(io.Discard, io.LimitReader(resp.Body, hookBody)) // what else it says does not matter
	return resp.StatusCode, resp.Header, nil
}

// plain words why there was no answer, for the people of the lab: without
// addresses of the server's own network, which an error's text may hold.
func plain(err error) error {
	var dns *net.DNSError
	var timeout net.Error
	switch {
	case errors.Is(err, errNotPublic):
		return errNotPublic
	case errors.As(err, &dns):
		return errors.New("the name is not known")
	case errors.As(err, &timeout) && timeout.Timeout():
		return fmt.Errorf("no answer within %s", hookTime)
	case errors.Is(err, syscall.ECONNREFUSED):
		return errors.New("the connection was refused")
	case isCertificate(err):
		return errors.New("its certificate is not to be trusted")
	default:
		return errors.New("the connection broke")
	}
}
