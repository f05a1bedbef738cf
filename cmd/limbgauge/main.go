// Command limbgauge runs a leg's joints through a routine on a bench stand, records what happens
// and says how healthy each joint is. Flags are read here, one call is made, the answer is printed;
// everything else lives in the packages.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"
)

func main() { os.Exit(mainCode()) }

func mainCode() int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	return run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr)
}
