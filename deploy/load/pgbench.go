package main

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"time"

	"golang.org/x/sync/errgroup"
)

// runPgbench has pgbench send scripts, by as many clients as the server has and
// each in its own labs, as the server's clients are: hence a process for each.
func (b *bench) runPgbench(ctx context.Context, url string, scripts []*script, w work) (figures, error) {
	dir, err := os.MkdirTemp("", "wetside-load-")
	if err != nil {
		return figures{}, err
	}
	defer func() { _ = os.RemoveAll(dir) }()
	each := make([]figures, b.clients)
	var all errgroup.Group
	for i := range b.clients {
		all.Go(func() (err error) {
			own := filepath.Join(dir, strconv.Itoa(i))
			if err := os.Mkdir(own, 0o700); err != nil {
				return err
			}
			each[i], err = b.pgbenchOnce(ctx, url, own, scripts[i])
			return err
		})
	}
	if err := all.Wait(); err != nil {
		return figures{}, err
	}
	out := figures{took: b.lasts, each: w.requests}
	for _, f := range each {
		out.times = append(out.times, f.times...)
	}
	return out, nil
}

// pgbenchOnce is one client.
func (b *bench) pgbenchOnce(ctx context.Context, url, dir string, s *script) (figures, error) {
	log := filepath.Join(dir, "log")
	args := []string{"--no-vacuum", "--protocol=prepared", "--client=1", "--jobs=1", "--log", "--log-prefix=" + log,
		fmt.Sprintf("--time=%d", int((warmUp + b.lasts).Seconds()))}
	file := filepath.Join(dir, "script")
	if err := os.WriteFile(file, []byte(s.text), 0o600); err != nil {
		return figures{}, err
	}
	args = append(args, "--file="+file)
	for _, v := range s.values {
		args = append(args, "--define="+v)
	}
	cmd := exec.CommandContext(ctx, b.pgbench, append(args, url)...)
	if out, err := cmd.CombinedOutput(); err != nil {
		return figures{}, fmt.Errorf("%w: %s", err, bytes.TrimSpace(out))
	}
	logs, err := filepath.Glob(log + ".*")
	if err != nil || len(logs) != 1 {
		return figures{}, fmt.Errorf("pgbench wrote %d logs, %v", len(logs), err)
	}
	times, err := readLog(logs[0])
	return figures{took: b.lasts, times: times}, err
}

// readLog reads how long the transactions of a pgbench took, but for those that
// ended within the warm-up: the third word of a line, in microseconds. The fifth
// and sixth are when it ended.
func readLog(path string) ([]time.Duration, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer func() { _ = file.Close() }()
	var times []time.Duration
	var from time.Time
	for lines := bufio.NewScanner(file); lines.Scan(); {
		var client, number, took, script, s, us int64
		if _, err := fmt.Sscan(lines.Text(), &client, &number, &took, &script, &s, &us); err != nil {
			return nil, fmt.Errorf("read %q: %w", lines.Text(), err)
		}
		ended := time.Unix(s, us*1000)
		if from.IsZero() {
			from = ended.Add(warmUp - time.Duration(took)*time.Microsecond)
		}
		if ended.After(from) {
			times = append(times, time.Duration(took)*time.Microsecond)
		}
	}
	return times, nil
}
