package localpg

import (
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
)

// FindBinaries returns the folder that holds initdb and postgres. It looks at
// the environment variable PG_BIN_DIR, what pg_config says, Debian's versioned
// folders with the newest first, and PATH. PG_BIN_DIR, where set, is the only
// one looked at: naming a folder without a server in it means to have none.
func FindBinaries() (string, error) {
	if dir, set := os.LookupEnv("PG_BIN_DIR"); set {
		return firstComplete([]string{dir})
	}
	var dirs []string
	if out, err := exec.Command("pg_config", "--bindir").Output(); err == nil {
		dirs = append(dirs, strings.TrimSpace(string(out)))
	}
	dirs = append(dirs, versioned("/usr/lib/postgresql/*/bin")...)
	if initdb, err := exec.LookPath("initdb"); err == nil {
		dirs = append(dirs, filepath.Dir(initdb))
	}
	return firstComplete(dirs)
}

// versioned lists the folders of a pattern …/VERSION/bin, the newest first.
func versioned(pattern string) []string {
	dirs, _ := filepath.Glob(pattern) // fails on a malformed pattern only
	version := func(dir string) int {
		n, _ := strconv.Atoi(filepath.Base(filepath.Dir(dir)))
		return n
	}
	slices.SortFunc(dirs, func(a, b string) int { return version(b) - version(a) })
	return dirs
}

// firstComplete is the first folder with both programs: the client packages
// alone bring a pg_config too.
func firstComplete(dirs []string) (string, error) {
	for _, dir := range dirs {
		if executable(filepath.Join(dir, "initdb")) && executable(filepath.Join(dir, "postgres")) {
			return dir, nil
		}
	}
	return "", ErrNoBinaries
}

func executable(path string) bool {
	info, err := os.Stat(path)
	return err == nil && info.Mode().IsRegular() && info.Mode()&0o111 != 0
}
