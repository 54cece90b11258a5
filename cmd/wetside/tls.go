package main

import (
	"bytes"
	"context"
	"crypto/tls"
	"encoding/pem"
	"errors"
	"fmt"
	"net"
	"os"
	"sync"
	"time"
)

// lookAgain is how often the certificate's file is looked at at most.
const lookAgain = 10 * time.Second

// listen takes the address, and speaks TLS on it where a certificate is given.
func listen(ctx context.Context, s settings) (net.Listener, error) {
	plain, err := new(net.ListenConfig).Listen(ctx, "tcp", s.Listen)
	if err != nil {
		return nil, fmt.Errorf("listen: %w", err)
	}
	if s.Certificate == "" {
		return plain, nil
	}
	c := &certificate{file: s.Certificate, key: s.CertificateKey}
	if _, err := c.get(nil); err != nil {
		_ = plain.Close()
		return nil, &exitError{2, err}
	}
	return tls.NewListener(plain, &tls.Config{
		MinVersion:     tls.VersionTLS12,
		NextProtos:     []string{"http/1.1"},
		GetCertificate: c.get,
	}), nil
}

// A certificate is read again when its file changes, so that whoever renews it
// need not restart the server. One that cannot be read leaves the last in use.
type certificate struct {
	file, key string

	mu      sync.Mutex
	last    *tls.Certificate
	changed time.Time
	looked  time.Time
}

func (c *certificate) get(*tls.ClientHelloInfo) (*tls.Certificate, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.last != nil && time.Since(c.looked) < lookAgain {
		return c.last, nil
	}
	c.looked = time.Now()
	info, err := os.Stat(c.file)
	if err == nil && c.last != nil && info.ModTime().Equal(c.changed) {
		return c.last, nil
	}
	var read tls.Certificate
	if err == nil {
		read, err = tls.LoadX509KeyPair(c.file, c.key)
	}
	if err != nil && c.last == nil {
		return nil, fmt.Errorf("certificate: %w", err)
	}
	if err == nil {
		c.last, c.changed = &read, info.ModTime()
	}
	return c.last, nil
}

// ownCertificate trusts the server that shows the very certificate of a file:
// whoever probes it beside it does not go by its name.
func ownCertificate(file string) *tls.Config {
	return &tls.Config{
		MinVersion:         tls.VersionTLS12,
		InsecureSkipVerify: true, // #nosec G402 -- VerifyConnection compares the certificate itself
		VerifyConnection: func(state tls.ConnectionState) error {
			text, err := os.ReadFile(file)
			if err != nil {
				return err
			}
			block, _ := pem.Decode(text)
			if block == nil || !bytes.Equal(block.Bytes, state.PeerCertificates[0].Raw) {
				return errors.New("another certificate than the server's own")
			}
			return nil
		},
	}
}
