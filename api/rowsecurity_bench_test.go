package api_test

import (
	"io"
	"net/http"
	"strings"
	"testing"
	"time"

	"wetside/api/apitest"
	"wetside/deploy/demo"
)

// BenchmarkRowSecurity asks the same with the tables' guards on and off, by HTTP,
// one request after another.
func BenchmarkRowSecurity(b *testing.B) {
	now := time.Date(2026, 11, 25, 8, 30, 0, 0, time.UTC)
	server := apitest.Start(b)
	told, err := demo.Play(b.Context(), demo.Options{URL: server.URL, SetupCode: apitest.SetupCode, HTTP: http.DefaultClient, Now: now, Log: io.Discard})
	if err != nil {
		b.Fatal(err)
	}
	lab := server.URL + "/v1/labs/" + told.Lab
	do := func(b *testing.B, method, url, body string, status int) {
		req, _ := http.NewRequestWithContext(b.Context(), method, url, strings.NewReader(body))
		req.Header.Set("Authorization", "Bearer "+told.Tokens["tomasz"])
		req.Header.Set("Trial-Time", now.Format(time.RFC3339))
		if body != "" {
			req.Header.Set("Content-Type", "application/json")
		}
		resp, err := http.DefaultClient.Do(req)
		if err != nil {
			b.Fatal(err)
		}
		text, _ := io.ReadAll(resp.Body)
		_ = resp.Body.Close()
		if resp.StatusCode != status {
			b.Fatalf("%s: %d %s", url, resp.StatusCode, text)
		}
	}
	for _, row := range []struct{ name, verb string }{{"with", "ENABLE"}, {"without", "DISABLE"}, {"with again", "ENABLE"}, {"without again", "DISABLE"}} {
		for table := range pairs(b, server.Pool, `SELECT polrelid::regclass::text, '' FROM pg_policy WHERE polname = 'own_lab'`) {
			if _, err := server.Pool.Exec(b.Context(), `ALTER TABLE `+table+` `+row.verb+` ROW LEVEL SECURITY`); err != nil {
				b.Fatal(err)
			}
		}
		b.Run("rolls "+row.name, func(b *testing.B) {
			for b.Loop() {
				do(b, http.MethodGet, lab+"/rolls?limit=50", "", 200)
			}
		})
		b.Run("sessions with places "+row.name, func(b *testing.B) {
			for b.Loop() {
				do(b, http.MethodGet, lab+"/sessions?limit=50", "", 200)
			}
		})
		b.Run("hand in "+row.name, func(b *testing.B) {
			for b.Loop() {
				do(b, http.MethodPost, lab+"/rolls", `{"format":"135-36","process":"c-41"}`, 201)
			}
		})
	}
}
