// Command trialpg runs another command with a private PostgreSQL beside it
// whose data is kept in a folder, and stops it in good order afterwards:
//
//	go run ./deploy/trialpg -data DIR COMMAND …
//
// The command finds the URL in WETSIDE_DATABASE_URL. The server comes from the
// PostgreSQL binaries installed here, listens on the loopback address alone and
// asks for a password, which is kept in the folder. -find only reports, by its
// exit status, whether there are such binaries.
package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"os"

	"wetside/deploy/child"
	"wetside/deploy/localpg"
)

func main() {
	os.Exit(run(os.Args[1:], os.Stderr))
}

func run(args []string, log io.Writer) int {
	flags := flag.NewFlagSet("trialpg", flag.ContinueOnError)
	flags.SetOutput(log)
	data := flags.String("data", "", "the `folder` of the data")
	find := flags.Bool("find", false, "only look for the binaries")
	if err := flags.Parse(args); err != nil {
		return child.Failed
	}
	bin, err := localpg.FindBinaries()
	if *find {
		if err != nil {
			return 1
		}
		return 0
	}
	if err != nil {
		fmt.Fprintln(log, "trialpg:", err)
		return child.Failed
	}
	command := flags.Args()
	if *data == "" || len(command) == 0 {
		fmt.Fprintln(log, "trialpg: give -data and a command")
		return child.Failed
	}
	signals := child.Signals()
	server, err := localpg.Start(context.Background(), localpg.Options{
		BinDir: bin, Dir: *data, Durable: true, MaxConnections: 60,
	})
	if err != nil {
		fmt.Fprintln(log, "trialpg:", err)
		return child.Failed
	}
	fmt.Fprintf(log, "PostgreSQL: a private server from %s, its data in %s\n", bin, *data)
	status := child.Run(command, []string{"WETSIDE_DATABASE_URL=" + server.URL()}, signals, log)
	if err := server.Close(); err != nil {
		fmt.Fprintln(log, "trialpg:", err)
		if status == 0 {
			status = child.Failed
		}
	}
	return status
}
