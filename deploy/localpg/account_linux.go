package localpg

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"strconv"
	"syscall"
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

// reach refuses a folder below one that is closed to the account, which
// PostgreSQL could only report as a file that it cannot open. root's own home
// is such a folder.
func (a *account) reach(dir string) error {
	if a == nil {
		return nil
	}
	for up := filepath.Dir(dir); ; up = filepath.Dir(up) {
		info, err := os.Stat(up)
		if err != nil {
			return fmt.Errorf("folder for PostgreSQL: %w", err)
		}
		owner, ok := info.Sys().(*syscall.Stat_t)
		if info.Mode()&0o001 == 0 && (!ok || owner.Uid != a.uid) {
			return fmt.Errorf("PostgreSQL, which runs as %s, cannot reach %s: %s is closed to it; choose another folder", a.name, dir, up)
		}
		if up == filepath.Dir(up) {
			return nil
		}
	}
}
