package packing

import (
	"fmt"
	"os"
)

var debug = os.Getenv("PDEBUG") != ""

func debugf(f string, a ...any) {
	if debug {
		fmt.Fprintf(os.Stderr, "    "+f+"\n", a...)
	}
}
