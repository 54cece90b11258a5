package main

import (
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/deploy/testdb"
)

// A script binds what was heard by type, sends together what was sent together,
// and knows an id that the database makes only once it is made.
func TestScriptIsWhatWasHeard(t *testing.T) {
	t.Parallel()
	conn, err := pgx.Connect(t.Context(), testdb.URL(t))
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = conn.Close(t.Context()) }()
	if _, err := conn.Exec(t.Context(), `CREATE TABLE places (id text, roll text, at timestamptz)`); err != nil {
		t.Fatal(err)
	}
	w := &writer{conn: conn, types: map[uint32]string{}, params: map[string][]uint32{}}
	s, err := w.script(t.Context(), []said{
		{sql: "BEGIN; SELECT 1"},
		{sql: "INSERT INTO places (id, roll, at) VALUES ('made', $1, $2) RETURNING id", args: []any{"roll_1", nil}},
		{sql: "SELECT FROM places WHERE id = $2 AND roll = ANY($1)", args: []any{[]string{"roll_1"}, "made"}, along: true},
		{sql: "SELECT FROM places WHERE roll = $1", args: []any{"roll_1"}},
		{sql: "commit"},
	})
	if err != nil {
		t.Fatal(err)
	}
	want := `\startpipeline
BEGIN;
SELECT 1;
\endpipeline
INSERT INTO places (id, roll, at) VALUES ('made', :v0::text, NULL::timestamp with time zone) RETURNING id
\gset
\startpipeline
SELECT FROM places WHERE id = :id::text AND roll = ANY(:v1::text[]);
SELECT FROM places WHERE roll = :v0::text;
\endpipeline
commit;
`
	if values := []string{"v0=roll_1", "v1={roll_1}"}; s.text != want || !slices.Equal(s.values, values) {
		t.Errorf("got\n%s\nwith %q", s.text, s.values)
	}
}

func TestLogIsReadButForTheWarmUp(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "log")
	log := "0 1 1500 0 1000 1500\n0 2 900000 0 1000 999999\n0 3 2500 0 1001 2500\n"
	if err := os.WriteFile(path, []byte(log), 0o600); err != nil {
		t.Fatal(err)
	}
	times, err := readLog(path)
	if err != nil || !slices.Equal(times, []time.Duration{2500 * time.Microsecond}) {
		t.Errorf("got %v, %v", times, err)
	}
}

func TestFigures(t *testing.T) {
	t.Parallel()
	slow, fast := figures{took: time.Second, each: 1, times: make([]time.Duration, 2)}, figures{took: time.Second, each: 2}
	for i := range 100 {
		fast.times = append(fast.times, time.Duration(100-i)*time.Millisecond)
	}
	if fast.rate() != 200 || fast.share(500) != 51*time.Millisecond || fast.share(990) != 100*time.Millisecond {
		t.Errorf("%v a second, %v, %v", fast.rate(), fast.share(500), fast.share(990))
	}
	if got := middle([]figures{fast, slow, slow}); got.rate() != 2 {
		t.Errorf("the middle is %v", got.rate())
	}
}
