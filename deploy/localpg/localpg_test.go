//go:build linux

package localpg_test

import (
	"context"
	"errors"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"

	"wetside/deploy/localpg"
)

func exec(ctx context.Context, url, sql string) error {
	conn, err := pgx.Connect(ctx, url)
	if err != nil {
		return err
	}
	defer func() { _ = conn.Close(ctx) }()
	_, err = conn.Exec(ctx, sql)
	return err
}

// start starts a server; PostgreSQL's binaries may be absent only where a
// container serves the tests.
func start(t *testing.T, opts localpg.Options) *localpg.Server {
	t.Helper()
	s, err := localpg.Start(t.Context(), opts)
	if errors.Is(err, localpg.ErrNoBinaries) && os.Getenv("WETSIDE_TEST_DATABASE_URL") != "" {
		t.Skip("this machine has no PostgreSQL of its own")
	}
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return s
}

func TestTemporaryServerLeavesNothing(t *testing.T) {
	t.Parallel()
	s := start(t, localpg.Options{})
	var dir string
	conn, err := pgx.Connect(t.Context(), s.URL())
	if err != nil {
		t.Fatal(err)
	}
	if err := conn.QueryRow(t.Context(), "SHOW data_directory").Scan(&dir); err != nil {
		t.Fatal(err)
	}
	_ = conn.Close(t.Context())
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if err := exec(t.Context(), s.URL(), "SELECT 1"); err == nil {
		t.Error("a closed server answered")
	}
	if _, err := os.Stat(filepath.Dir(dir)); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("%s is still there: %v", filepath.Dir(dir), err)
	}
}

func TestDurableServerKeepsDataAndAsksForAPassword(t *testing.T) {
	t.Parallel()
	// t.TempDir lies below folders that are closed to the server's account.
	dir, err := os.MkdirTemp("", "wetside-localpg-test-")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = os.RemoveAll(dir) })
	opts := localpg.Options{Dir: dir, Durable: true}
	first := start(t, opts)
	if err := exec(t.Context(), first.URL(), "CREATE TABLE kept (n int)"); err != nil {
		t.Fatal(err)
	}
	u, err := url.Parse(first.URL())
	if err != nil {
		t.Fatal(err)
	}
	u.User = url.UserPassword("postgres", "a guess")
	if err := exec(t.Context(), u.String(), "SELECT 1"); err == nil {
		t.Error("the server took a wrong password")
	}
	if err := first.Close(); err != nil {
		t.Fatal(err)
	}
	if err := exec(t.Context(), start(t, opts).URL(), "INSERT INTO kept VALUES (1)"); err != nil {
		t.Errorf("after the restart: %v", err)
	}
}

func TestTwoServersCannotShareAFolder(t *testing.T) {
	t.Parallel()
	dir, err := os.MkdirTemp("", "wetside-localpg-test-")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = os.RemoveAll(dir) })
	start(t, localpg.Options{Dir: dir})
	second, err := localpg.Start(t.Context(), localpg.Options{Dir: dir})
	if err == nil {
		_ = second.Close()
		t.Fatal("a second server started in the folder of the first")
	}
	if !strings.Contains(err.Error(), "postmaster.pid") {
		t.Errorf("the error does not say why: %v", err)
	}
}

func TestAFolderWithoutBinariesIsRefused(t *testing.T) {
	t.Setenv("PG_BIN_DIR", t.TempDir())
	if dir, err := localpg.FindBinaries(); !errors.Is(err, localpg.ErrNoBinaries) {
		t.Errorf("found %q, %v", dir, err)
	}
}

func TestRootLearnsWhichFolderIsClosed(t *testing.T) {
	t.Parallel()
	if os.Geteuid() != 0 {
		t.Skip("the server runs as ourselves, who can reach all that is ours")
	}
	closed := t.TempDir()
	if err := os.Chmod(closed, 0o700); err != nil {
		t.Fatal(err)
	}
	_, err := localpg.Start(t.Context(), localpg.Options{Dir: filepath.Join(closed, "trial")})
	if err == nil || errors.Is(err, localpg.ErrNoBinaries) || !strings.Contains(err.Error(), "closed to it") {
		t.Errorf("got %v", err)
	}
}
