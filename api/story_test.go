package api_test

import (
	"os"
	"testing"
	"time"

	"wetside/api/apitest"
	"wetside/deploy/demo"
)

// storyNow is a Wednesday.
var storyNow = time.Date(2026, 11, 25, 8, 30, 0, 0, time.UTC)

func TestStory(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	told, err := demo.Play(t.Context(), demo.Options{
		URL: s.URL, SetupCode: apitest.SetupCode, HTTP: apitest.HTTP(t), Now: storyNow, Log: os.Stderr,
	})
	if err != nil {
		t.Fatal(err)
	}
	_ = told
}
