package main

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"os"
)

// obey serves the program that started us with -hold, until its end of our
// input is closed (by its death too) or a signal comes.
func obey(ctx context.Context, db database, in io.Reader, out io.Writer, signals <-chan os.Signal) error {
	if _, err := fmt.Fprintln(out, db.URL()); err != nil {
		return err
	}
	lines := make(chan string)
	go func() {
		defer close(lines)
		for scan := bufio.NewScanner(in); scan.Scan(); {
			lines <- scan.Text()
		}
	}()
	for {
		select {
		case <-signals:
			return nil
		case line, more := <-lines:
			if !more {
				return nil
			}
			if _, err := fmt.Fprintln(out, answer(ctx, db, line)); err != nil {
				return err
			}
		}
	}
}

// answer carries out one line and says in one line how that went.
func answer(ctx context.Context, db database, line string) string {
	var err error
	switch line {
	case "stop":
		err = db.Stop()
	case "start":
		err = db.Start(ctx)
	default:
		err = fmt.Errorf("no such command")
	}
	if err != nil {
		return fmt.Sprintf("%s failed: %q", line, err)
	}
	return "ok"
}
