// Command ductwarden opens the blast gate of the machine that runs, closes the others, starts the dust
// collector and stops it after clearing the ducts. One file a verb; wire.go is the one place that knows
// everything.
package main

import (
	"context"
	"io"
	"os"
	"os/signal"
	"syscall"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM) // SIGHUP: endOnHangUp
	code := run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr)
	stop()
	os.Exit(code)
}

// run is the whole program; tests call it as main does.
func run(ctx context.Context, args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	return execute(ctx, args, stdin, stdout, stderr)
}
