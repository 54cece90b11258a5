//go:build !linux

package localpg

import (
	"context"
	"errors"
	"os/exec"
	"runtime"
)

var errUnsupported = errors.New("localpg works on Linux; on " + runtime.GOOS +
	" use Docker, or set WETSIDE_TEST_DATABASE_URL or WETSIDE_DATABASE_URL to a PostgreSQL that runs")

type account struct{}

func serverAccount() (*account, error) { return nil, errUnsupported }
func (*account) own(string) error      { return errUnsupported }
func (*account) reach(string) error    { return errUnsupported }
func (*account) become(*exec.Cmd)      {}
func (*account) String() string        { return "" }

type process struct{}

func startProcess(*exec.Cmd, *account, bool) (*process, error) { return nil, errUnsupported }
func (*process) awaitReady(context.Context, string) error      { return errUnsupported }
func (*process) stop(bool) error                               { return errUnsupported }
