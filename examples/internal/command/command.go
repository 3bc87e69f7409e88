// Package command holds what programs share that write a folder of results: exit
// statuses, an end within half a second of an interruption, and a folder that appears
// only when all is in it.
package command

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"sync/atomic"
	"time"

	"example.com/platewright/internal/strict"
)

// grace is the time that the work has to stop after an interruption. Most work checks
// its context often, but drawing a chart does not.
const grace = 400 * time.Millisecond

// Run does the work of the program called name and returns the exit status, as Complain
// gives it. It does not wait for work that goes on for longer than grace after an
// interruption. It then removes the folder that the work has registered with hold.
func Run(ctx context.Context, name string, stderr io.Writer, work func(hold func(*Folder)) error) int {
	var held atomic.Pointer[Folder]
	done := make(chan error, 1)
	go func() { done <- work(held.Store) }()
	var err error
	select {
	case err = <-done:
	case <-ctx.Done():
		select {
		case err = <-done:
		case <-time.After(grace):
			err = ctx.Err()
		}
	}
	if err == nil {
		return 0
	}
	if f := held.Load(); f != nil && !f.Abandon() {
		err = fmt.Errorf("all is in %s, but %w", f.name, err)
	} else if ctx.Err() != nil {
		err = ctx.Err() // the interruption caused the error
	}
	return Complain(stderr, name, err)
}

// Complain prints each line of an error after the program's name and returns the exit
// status: 2 for an InputError, 130 for an interruption, 1 otherwise. It escapes control
// characters.
func Complain(stderr io.Writer, name string, err error) (status int) {
	if err == context.Canceled {
		fmt.Fprintf(stderr, "%s: interrupted, nothing written\n", name)
		return 130
	}
	for _, line := range strings.Split(err.Error(), "\n") {
		fmt.Fprintf(stderr, "%s: %s\n", name, strict.Printable(line, 500))
	}
	if errors.As(err, new(InputError)) {
		return 2
	}
	return 1
}

// InputError is a fault of the user's input: the command line, or a file.
type InputError struct{ Err error }

func (e InputError) Error() string { return e.Err.Error() }
func (e InputError) Unwrap() error { return e.Err }
