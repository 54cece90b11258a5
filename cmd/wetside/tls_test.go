package main

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"io"
	"math/big"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"wetside/deploy/testdb"
)

// certify writes a certificate of its own signing for 127.0.0.1 and its key.
func certify(t *testing.T, dir string, serial int64) (file, key string, pool *x509.CertPool) {
	t.Helper()
	secret, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{
		SerialNumber: big.NewInt(serial), NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign,
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, secret.Public(), secret)
	if err != nil {
		t.Fatal(err)
	}
	secretDER, err := x509.MarshalPKCS8PrivateKey(secret)
	if err != nil {
		t.Fatal(err)
	}
	file, key = filepath.Join(dir, "server.pem"), filepath.Join(dir, "server.key")
	for name, block := range map[string]*pem.Block{file: {Type: "CERTIFICATE", Bytes: der}, key: {Type: "PRIVATE KEY", Bytes: secretDER}} {
		if err := os.WriteFile(name, pem.EncodeToMemory(block), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	pool = x509.NewCertPool()
	pool.AppendCertsFromPEM(pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}))
	return file, key, pool
}

func TestServeSpeaksTLS(t *testing.T) {
	t.Parallel()
	file, key, roots := certify(t, t.TempDir(), 1)
	r := start(t, "WETSIDE_DATABASE_URL="+testdb.URL(t), "WETSIDE_TLS_CERTIFICATE="+file, "WETSIDE_TLS_KEY="+key)
	probed := func(environ ...string) int {
		environ = append([]string{"WETSIDE_LISTEN=" + r.listen}, environ...)
		return run(t.Context(), []string{"serve", "--probe"}, environ, strings.NewReader(""), io.Discard, io.Discard)
	}
	waitFor(t, "readiness", func() bool { return probed("WETSIDE_TLS_CERTIFICATE="+file) == 0 })
	get := func(roots *x509.CertPool, most uint16) (string, error) {
		client := &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: roots, MaxVersion: most}}}
		resp, err := client.Get("https://" + r.listen + "/livez")
		if err != nil {
			return "", err
		}
		defer func() { _ = resp.Body.Close() }()
		return tls.VersionName(resp.TLS.Version), nil
	}
	for most, want := range map[uint16]string{tls.VersionTLS13: "TLS 1.3", tls.VersionTLS12: "TLS 1.2"} {
		if got, err := get(roots, most); err != nil || got != want {
			t.Errorf("spoken is %s, %v", got, err)
		}
	}
	if _, err := get(roots, tls.VersionTLS11); err == nil {
		t.Error("TLS 1.1 is spoken")
	}
	if resp, err := http.Get("http://" + r.listen + "/livez"); err == nil && resp.StatusCode == http.StatusOK {
		t.Error("answered without TLS")
	}
	other, _, _ := certify(t, t.TempDir(), 2)
	if code := probed("WETSIDE_TLS_CERTIFICATE=" + other); code != 1 {
		t.Errorf("the probe takes another server's certificate: %d", code)
	}
	if code := r.end(t); code != 0 {
		t.Errorf("the server ends with %d:\n%s", code, r.log)
	}
}

// A certificate that is renewed in its file is shown without a restart; one that
// cannot be read leaves the last.
func TestCertificatesAreReadAgain(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	file, key, _ := certify(t, dir, 1)
	c := &certificate{file: file, key: key}
	serial := func() int64 {
		t.Helper()
		c.looked = time.Time{} // as if the time had passed
		got, err := c.get(nil)
		if err != nil {
			t.Fatal(err)
		}
		leaf, err := x509.ParseCertificate(got.Certificate[0])
		if err != nil {
			t.Fatal(err)
		}
		return leaf.SerialNumber.Int64()
	}
	if got := serial(); got != 1 {
		t.Errorf("shown is %d", got)
	}
	certify(t, dir, 2)
	if err := os.Chtimes(file, time.Now(), time.Now().Add(time.Minute)); err != nil {
		t.Fatal(err)
	}
	if got := serial(); got != 2 {
		t.Errorf("after it was renewed shown is %d", got)
	}
	if err := os.WriteFile(file, []byte("half"), 0o600); err != nil {
		t.Fatal(err)
	}
	if got := serial(); got != 2 {
		t.Errorf("while it is written shown is %d", got)
	}
	if _, err := (&certificate{file: filepath.Join(dir, "none"), key: key}).get(nil); err == nil {
		t.Error("a server starts without its certificate")
	}
}
