package testdb

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strings"
	"sync"
	"time"
)

// shared is the server of all tests of this process.
var shared = sync.OnceValues(func() (*server, error) {
	ctx, cancel := context.WithTimeout(context.Background(), startLimit)
	defer cancel()
	if url := os.Getenv("WETSIDE_TEST_DATABASE_URL"); url != "" {
		return prepare(ctx, url)
	}
	h, err := hold(ctx)
	if err != nil {
		return nil, err
	}
	s, err := prepare(ctx, h.url)
	if err != nil {
		return nil, errors.Join(err, h.close())
	}
	s.holder = h
	return s, nil
})

// startLimit is long enough to compile withpg and to pull an image first.
const startLimit = 8 * time.Minute

// holder is a deploy/withpg that holds a server for us. It runs as a process
// of its own because a test binary has no place to clean up that is always
// reached: the holder sees its input end, however we do.
type holder struct {
	url string

	mu  sync.Mutex
	cmd *exec.Cmd
	in  io.WriteCloser
	out *bufio.Reader
}

// hold starts a server. Tests run in their package's folder, so that the go
// command finds the module by itself.
func hold(ctx context.Context) (*holder, error) {
	cmd := exec.Command("go", "run", "wetside/deploy/withpg", "-hold")
	in, err := cmd.StdinPipe()
	if err != nil {
		return nil, err
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		return nil, err
	}
	// Its own pipe rather than our standard error: go test waits for everyone
	// who holds that.
	log, err := cmd.StderrPipe()
	if err != nil {
		return nil, err
	}
	if err := cmd.Start(); err != nil {
		return nil, fmt.Errorf("set WETSIDE_TEST_DATABASE_URL, or have the go command in PATH: %w", err)
	}
	h := &holder{cmd: cmd, in: in, out: bufio.NewReader(out)}
	said := make(chan string, 1)
	go func() { said <- relay(log) }()
	stop := context.AfterFunc(ctx, func() { _ = in.Close() })
	defer stop()
	line, err := h.out.ReadString('\n')
	if err != nil {
		_ = in.Close()
		text := <-said
		return nil, errors.Join(fmt.Errorf("start a server: %s", text), ctx.Err(), cmd.Wait())
	}
	h.url = strings.TrimSpace(line)
	return h, nil
}

// relay passes on what withpg says, which is which server it took, and returns
// it all at the end.
func relay(log io.Reader) string {
	var all strings.Builder
	for scan := bufio.NewScanner(log); scan.Scan(); {
		fmt.Fprintln(os.Stderr, "testdb:", scan.Text())
		all.WriteString(scan.Text() + "\n")
	}
	return all.String()
}

// ask sends one line and waits for the answer.
func (h *holder) ask(line string) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	if _, err := fmt.Fprintln(h.in, line); err != nil {
		return err
	}
	answer, err := h.out.ReadString('\n')
	if err != nil {
		return fmt.Errorf("%s: %w", line, err)
	}
	if answer = strings.TrimSpace(answer); answer != "ok" {
		return errors.New(answer)
	}
	return nil
}

// close ends the holder and its server and waits for that.
func (h *holder) close() error {
	return errors.Join(h.in.Close(), h.cmd.Wait())
}
