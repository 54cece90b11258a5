package main

import (
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"time"
)

// probeTime is how long a server may take to answer a probe.
const probeTime = 3 * time.Second

// probe asks a server that runs beside it, as a container's health check does.
func probe(ctx context.Context, environ []string) error {
	address, err := probeAddress(environ)
	if err != nil {
		return &exitError{2, err}
	}
	ctx, cancel := context.WithTimeout(ctx, probeTime)
	defer cancel()
	certificate, err := setting(environ, "Certificate")
	if err != nil {
		return &exitError{2, err}
	}
	scheme, client := "http", http.DefaultClient
	if certificate != "" {
		scheme, client = "https", &http.Client{Transport: &http.Transport{TLSClientConfig: ownCertificate(certificate)}}
	}
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, scheme+"://"+address+"/readyz", nil)
	if err != nil {
		return &exitError{2, err}
	}
	resp, err := client.Do(req)
	if err != nil {
		return err
	}
	defer func() { _ = resp.Body.Close() }()
	if resp.StatusCode != http.StatusOK {
		body, _ := io.ReadAll(io.LimitReader(resp.Body, 4096)) // what there is of it will do
		return fmt.Errorf("not ready: %s %s", resp.Status, body)
	}
	return nil
}

// probeAddress is where the server beside us listens: on loopback, if it
// listens everywhere.
func probeAddress(environ []string) (string, error) {
	listen, err := setting(environ, "Listen")
	if err != nil {
		return "", err
	}
	host, port, err := net.SplitHostPort(listen)
	if err != nil {
		return "", fmt.Errorf("%sLISTEN: %w", settingPrefix, err)
	}
	if ip := net.ParseIP(host); host == "" || ip != nil && ip.IsUnspecified() {
		host = "localhost"
	}
	return net.JoinHostPort(host, port), nil
}
