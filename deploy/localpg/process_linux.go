package localpg

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"os/user"
	"runtime"
	"strconv"
	"syscall"
	"time"

	"github.com/jackc/pgx/v5"
)

// account is whom PostgreSQL's programs run as; nil means as ourselves.
type account struct {
	name     string
	uid, gid uint32
}

// serverAccount picks the account: ourselves, unless we are root.
func serverAccount() (*account, error) {
	if os.Geteuid() != 0 {
		return nil, nil
	}
	for _, name := range []string{"postgres", "nobody"} {
		u, err := user.Lookup(name)
		if err != nil {
			continue
		}
		uid, errU := strconv.ParseUint(u.Uid, 10, 32)
		gid, errG := strconv.ParseUint(u.Gid, 10, 32)
		if errU == nil && errG == nil {
			return &account{name: name, uid: uint32(uid), gid: uint32(gid)}, nil
		}
	}
	return nil, errors.New("PostgreSQL does not run as root, and there is neither an account postgres nor nobody to run it as")
}

// own gives a file or folder to the account.
func (a *account) own(path string) error {
	if a == nil {
		return nil
	}
	if err := os.Chown(path, int(a.uid), int(a.gid)); err != nil {
		return fmt.Errorf("give %s to %s: %w", path, a.name, err)
	}
	return nil
}

// become makes cmd run as the account, in a process group of its own, so that
// Ctrl-C at a terminal reaches us and not the server behind our back.
func (a *account) become(cmd *exec.Cmd) {
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	if a != nil {
		cmd.SysProcAttr.Credential = &syscall.Credential{Uid: a.uid, Gid: a.gid}
	}
}

// String is for messages: " as postgres", or nothing.
func (a *account) String() string {
	if a == nil {
		return ""
	}
	return " as " + a.name
}

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
