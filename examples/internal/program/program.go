// Package program holds what the examples share as programs: a folder for what they
// write, which never overwrites anything, and their exit status.
package program

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"path/filepath"
	"strings"
	"sync/atomic"
	"syscall"
	"time"

	"example.com/platewright/internal/strict"
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg/vgimg"
)

func init() { plot.DefaultFont.Variant = "Sans" } // of all charts

// grace is the time that the work has to stop after an interruption. Most of the work
// checks its context often, but drawing a chart does not.
const grace = 400 * time.Millisecond

// Run does the work of a program and returns its exit status: 0, 1 for an error, 2 for a
// fault of the user's input, 130 after an interruption. It prints the error after the
// program's name. It does not wait for work that goes on for longer than grace after an
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
	if out := held.Load(); out != nil && !out.Abandon() {
		err = fmt.Errorf("all is in %s, but %w", out.name, err)
	} else if ctx.Err() != nil {
		err = ctx.Err() // the interruption caused the error
	}
	return Complain(name, stderr, err)
}

// Complain prints each line of an error after the program's name and returns the exit
// status. It escapes control characters.
func Complain(name string, stderr io.Writer, err error) (status int) {
	if err == context.Canceled {
		fmt.Fprintf(stderr, "%s: interrupted, nothing written\n", name)
		return 130
	}
	for _, line := range strings.Split(err.Error(), "\n") {
		fmt.Fprintf(stderr, "%s: %s\n", name, strict.Printable(line, 500))
	}
	if errors.As(err, new(inputError)) {
		return 2
	}
	return 1
}

// inputError is a fault of the user's input: the command line, or a file.
type inputError struct{ error }

// Input marks an error as a fault of the user's input.
func Input(err error) error { return inputError{err} }

// Main is the main function of a program that prints a text and draws pictures. Its one
// flag names a new folder for the pictures.
func Main(name string, draw func(text io.Writer, out *Folder) error) {
	Exit(func(ctx context.Context, args []string, stdout, stderr io.Writer) int {
		return small(ctx, name, args, stdout, stderr, draw)
	})
}

// Exit runs a program on its command line and ends the process with its status. The
// context ends when the user interrupts the program.
func Exit(run func(ctx context.Context, args []string, stdout, stderr io.Writer) int) {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	os.Exit(run(ctx, os.Args[1:], os.Stdout, os.Stderr))
}

func small(ctx context.Context, name string, args []string, stdout, stderr io.Writer, draw func(text io.Writer, out *Folder) error) int {
	flags := flag.NewFlagSet(name, flag.ContinueOnError)
	flags.SetOutput(stderr)
	out := flags.String("out", "", fmt.Sprintf("write the pictures into this new `folder` (default out/%[1]s, out/%[1]s-2 …)", name))
	switch err := flags.Parse(args); {
	case errors.Is(err, flag.ErrHelp):
		return 0
	case err != nil:
		return 2 // package flag has said why
	case flags.NArg() > 0:
		return Complain(name, stderr, Input(fmt.Errorf("%q: no arguments are taken after the flags", flags.Arg(0))))
	}
	return Run(ctx, name, stderr, func(hold func(*Folder)) error {
		chosen, err := ChooseFolder(*out, filepath.Join("out", name))
		if err != nil {
			return Input(err)
		}
		folder, err := NewFolder(ctx, chosen)
		if err != nil {
			return Input(err)
		}
		hold(folder)
		if err := draw(stdout, folder); err != nil {
			return err
		}
		where, err := folder.Commit()
		if err != nil {
			return err
		}
		_, err = fmt.Fprintf(stdout, "\nThe pictures are in %s\n", strict.Printable(where, 4096))
		return err
	})
}

// Save writes a drawing to a PNG file of the folder.
func (f *Folder) Save(name string, img *vgimg.Canvas) error {
	file, err := f.Create(name)
	if err != nil {
		return err
	}
	_, err = vgimg.PngCanvas{Canvas: img}.WriteTo(file)
	return errors.Join(err, file.Close())
}
