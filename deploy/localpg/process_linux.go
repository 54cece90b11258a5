package localpg

import (
	"context"
	"errors"
	"fmt"
	"os/exec"
	"runtime"
	"syscall"
	"time"

	"github.com/jackc/pgx/v5"
)

// process is a running postmaster.
type process struct {
	cmd  *exec.Cmd
	done chan struct{} // closed when it has ended
	err  error         // why; read after done
}

// startProcess starts the postmaster so that the kernel stops it when we die:
// at once, or by an orderly shutdown if its data is to be kept.
func startProcess(cmd *exec.Cmd, who *account, durable bool) (*process, error) {
	who.become(cmd)
	cmd.SysProcAttr.Pdeathsig = syscall.SIGQUIT
	if durable {
		cmd.SysProcAttr.Pdeathsig = syscall.SIGINT
	}
	p := &process{cmd: cmd, done: make(chan struct{})}
	started := make(chan error)
	// The kernel's "parent" is the thread that forked, not the process: hold
	// one thread for as long as the server lives.
	go func() {
		runtime.LockOSThread()
		err := cmd.Start()
		started <- err
		if err == nil {
			p.err = cmd.Wait()
			close(p.done)
		}
	}()
	if err := <-started; err != nil {
		return nil, err
	}
	return p, nil
}

// awaitReady returns when the server answers a query, or has ended.
func (p *process) awaitReady(ctx context.Context, url string) error {
	ctx, cancel := context.WithTimeout(ctx, startLimit)
	defer cancel()
	for {
		err := ping(ctx, url)
		if err == nil {
			return nil
		}
		select {
		case <-p.done:
			return fmt.Errorf("it ended: %w", p.err)
		case <-ctx.Done():
			return errors.Join(ctx.Err(), err)
		case <-time.After(20 * time.Millisecond):
		}
	}
}

func ping(ctx context.Context, url string) error {
	conn, err := pgx.Connect(ctx, url)
	if err != nil {
		return err
	}
	return errors.Join(conn.Ping(ctx), conn.Close(ctx))
}

// stop ends the postmaster and waits for that; an orderly stop that takes
// longer than ten seconds becomes an immediate one.
func (p *process) stop(orderly bool) error {
	if orderly {
		_ = p.cmd.Process.Signal(syscall.SIGINT)
		select {
		case <-p.done:
			return nil
		case <-time.After(10 * time.Second):
		}
	}
	_ = p.cmd.Process.Signal(syscall.SIGQUIT)
	select {
	case <-p.done:
		return nil
	case <-time.After(10 * time.Second):
		_ = p.cmd.Process.Kill()
		<-p.done
		return errors.New("PostgreSQL did not stop when asked and was killed")
	}
}
