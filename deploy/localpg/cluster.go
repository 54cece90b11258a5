package localpg

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
)

// prepare makes the folder and, where it is new, the cluster in it:
//
//	data/         PostgreSQL's own folder
//	password      of the superuser, in a durable cluster
//	postgres.log  the server's log
func (s *Server) prepare(ctx context.Context) error {
	if err := s.makeDir(); err != nil {
		return err
	}
	secret := filepath.Join(s.opts.Dir, "password")
	if s.opts.Durable {
		if err := s.loadPassword(secret); err != nil {
			return err
		}
	}
	data := filepath.Join(s.opts.Dir, "data")
	switch _, err := os.Stat(filepath.Join(data, "PG_VERSION")); {
	case err == nil:
		return nil
	case !errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf("look at the cluster: %w", err)
	}
	// A first start that was cut short leaves half a cluster, which initdb
	// would refuse. initdb writes PG_VERSION early, so build aside and rename.
	fresh := filepath.Join(s.opts.Dir, "data.new")
	if err := os.RemoveAll(fresh); err != nil {
		return fmt.Errorf("clear half a cluster: %w", err)
	}
	args := []string{"-D", fresh, "-U", "postgres", "-E", "UTF8", "--locale=C.UTF-8"}
	if s.opts.Durable {
		args = append(args, "-A", "scram-sha-256", "--pwfile", secret)
	} else {
		args = append(args, "-A", "trust", "--no-sync")
	}
	if err := s.initdb(ctx, args); err != nil {
		return err
	}
	if err := os.Rename(fresh, data); err != nil {
		return fmt.Errorf("put the new cluster in place: %w", err)
	}
	return nil
}

// makeDir makes the cluster's folder and gives it to the server's account.
func (s *Server) makeDir() error {
	if s.temporary {
		dir, err := os.MkdirTemp("", "wetside-postgres-")
		if err != nil {
			return fmt.Errorf("make a folder for PostgreSQL: %w", err)
		}
		s.opts.Dir = dir
	} else {
		dir, err := filepath.Abs(s.opts.Dir)
		if err != nil {
			return fmt.Errorf("folder for PostgreSQL: %w", err)
		}
		s.opts.Dir = dir
		if err := os.MkdirAll(dir, 0o700); err != nil {
			return fmt.Errorf("make a folder for PostgreSQL: %w", err)
		}
	}
	if err := s.account.own(s.opts.Dir); err != nil {
		return err
	}
	return s.account.reach(s.opts.Dir)
}

// loadPassword reads the superuser's password, or makes one up the first time.
func (s *Server) loadPassword(path string) error {
	text, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		text = []byte(rand.Text())
		if err := os.WriteFile(path, text, 0o600); err != nil {
			return fmt.Errorf("keep the password: %w", err)
		}
		err = s.account.own(path)
	}
	if err != nil {
		return fmt.Errorf("password of the cluster: %w", err)
	}
	s.password = strings.TrimSpace(string(text))
	return nil
}

func (s *Server) initdb(ctx context.Context, args []string) error {
	ctx, cancel := context.WithTimeout(ctx, startLimit)
	defer cancel()
	cmd := exec.CommandContext(ctx, filepath.Join(s.opts.BinDir, "initdb"), args...)
	cmd.Dir = s.opts.Dir
	s.account.become(cmd)
	if out, err := cmd.CombinedOutput(); err != nil {
		return fmt.Errorf("initdb in %s%s: %w\n%s", s.opts.Dir, s.account, err, out)
	}
	return nil
}
