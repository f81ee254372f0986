// Command tankward serves the care of saltwater tanks, prepares its database and
// shows what it does with a demonstration. It wires the parts together and holds
// no rule of the job.
package main

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/signal"
	"syscall"
	"time"
	_ "time/tzdata" // a small image has no zone files

	"github.com/google/uuid"
)

// The program's exit codes.
const (
	exitOK     = 0
	exitFailed = 1   // the command ran and failed, or check found a difference
	exitUsage  = 2   // the command line or the environment cannot be used
	exitBroken = 130 // the command was told to stop before it was done
)

func main() { os.Exit(start()) }

func start() int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	// A second signal ends the program at once.
	context.AfterFunc(ctx, stop)
	return run(ctx, os.Args[1:], world{
		environ: os.Environ(), stdout: os.Stdout, stderr: os.Stderr, terminal: isTerminal(os.Stderr),
		clock: clock, newID: newID, random: rand.Reader,
	})
}

// world is what the program gets from outside.
type world struct {
	environ        []string
	stdout, stderr io.Writer
	terminal       bool // stderr is read by a person
	clock          func() time.Time
	newID          func() uuid.UUID
	random         io.Reader
	log            *slog.Logger
}

// clock gives the instant as it can be stored: UTC, whole microseconds.
func clock() time.Time { return time.Now().UTC().Truncate(time.Microsecond) }

// newID makes a UUIDv7; it fails only when the system has no randomness, and
// then nothing can go on.
func newID() uuid.UUID { return uuid.Must(uuid.NewV7()) }

func isTerminal(f *os.File) bool {
	info, err := f.Stat()
	return err == nil && info.Mode()&os.ModeCharDevice != 0
}

// errDifferent ends check when something differs: it has been said already.
var errDifferent = errors.New("what is stored differs from the records")

// run carries out one command and gives the exit code.
func run(ctx context.Context, args []string, w world) int {
	cmd, level, err := parse(args, w)
	if err == nil && cmd != nil { // else help was shown
		w.log = newLogger(w, level)
		err = cmd.run(ctx, w)
	}
	switch {
	case err == nil:
		return exitOK
	case ctx.Err() != nil && errors.Is(err, context.Canceled):
		_, _ = fmt.Fprintln(w.stderr, "tankward: stopped before it was done")
		return exitBroken
	}
	_, _ = fmt.Fprintf(w.stderr, "tankward: %v\n", err)
	if _, usage := errors.AsType[usageError](err); usage {
		return exitUsage
	}
	return exitFailed
}

// newLogger writes lines for people on a terminal, and JSON for machines.
func newLogger(w world, level slog.Level) *slog.Logger {
	o := &slog.HandlerOptions{Level: level}
	if w.terminal {
		return slog.New(slog.NewTextHandler(w.stderr, o))
	}
	return slog.New(slog.NewJSONHandler(w.stderr, o))
}
