// Ferry plans one shoot and its replay on a stage. It prints a report that answers the
// questions this library is for. It also makes the pictures: the plates, the frame of
// each LED wall for each position of the tracked camera, a push-in, and charts.
//
//	go run ./examples/ferry
//	go run ./examples/ferry -scenario my.json -plates plates/ -out evening
//
// Exit status: 0 if all is done, 1 if something failed on the way, 2 if the input is
// wrong, 130 if the run was interrupted.
//
// The packages do all the computing. This program composes, formats and draws. To start
// a program of your own from it, replace examples/internal/program (exit status, output),
// internal/quantity (printing) and internal/strict (reading the scenario): other
// modules cannot import them.
package main

import (
	"bytes"
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"math"
	"path/filepath"

	"example.com/platewright/examples/internal/harbour"
	"example.com/platewright/examples/internal/program"
	"example.com/platewright/internal/strict"
)

func main() { program.Exit(run) }

// options are the command line.
type options struct {
	scenario   string
	plates     string
	sphere     string
	out        string
	gain       float64
	keepPlates bool
	reportOnly bool
}

// run does the work of main and returns the exit status, so that tests can call it.
func run(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	var opts options
	flags := flag.NewFlagSet("ferry", flag.ContinueOnError)
	flags.SetOutput(stderr)
	flags.StringVar(&opts.scenario, "scenario", "testdata/ferry.json", "the scenario `file`")
	flags.StringVar(&opts.plates, "plates", "", "read the plates from this `folder`, NAME.png or NAME.jpg for each camera,\ninstead of making them (16 bit: linear light; 8 bit: sRGB)")
	flags.StringVar(&opts.sphere, "sphere", "", "make the plates from this equirectangular panorama `file`,\nits middle over the bow (16 bit: linear light; 8 bit: sRGB);\nwith -plates, only hold them against it")
	flags.StringVar(&opts.out, "out", "", "write into this new `folder` (default out/ferry, out/ferry-2 …)")
	flags.Float64Var(&opts.gain, "gain", 0, "lift the pictures by so many `stops`")
	flags.BoolVar(&opts.keepPlates, "keep-plates", false, "write the plates too, 16 bit, linear light, for -plates")
	flags.BoolVar(&opts.reportOnly, "report", false, "print the report, make no frames")
	switch err := flags.Parse(args); {
	case errors.Is(err, flag.ErrHelp):
		return 0
	case err != nil:
		return 2 // package flag has said why
	}
	if err := checkFlags(opts, flags); err != nil {
		return program.Complain("ferry", stderr, err)
	}
	return program.Run(ctx, "ferry", stderr, func(hold func(*program.Folder)) error {
		in, err := prepare(ctx, opts)
		switch {
		case err != nil:
			return program.Input(err)
		case opts.reportOnly:
			var text bytes.Buffer
			r := &report{out: &text}
			r.all(&in.shoot)
			r.summary()
			if err := ctx.Err(); err != nil {
				return err
			}
			return printed(stdout.Write(text.Bytes()))
		}
		out, err := program.NewFolder(ctx, in.out)
		if err != nil {
			return program.Input(err)
		}
		hold(out)
		return in.produce(ctx, out, stdout, stderr)
	})
}

// printed gives an error of printing the report its wording.
func printed(_ int, err error) error {
	if err != nil {
		return fmt.Errorf("the report cannot be printed: %w", program.Cause(err))
	}
	return nil
}

// job is a checked command line with its checked scenario.
type job struct {
	options
	shoot shoot
	files []string // of the plates, by camera; nil: the plates are made
	scene scene    // what the plates show if no picture is given
}

// checkFlags checks the command line without reading any file.
func checkFlags(opts options, flags *flag.FlagSet) error {
	var faults []error
	fault := func(format string, args ...any) { faults = append(faults, fmt.Errorf(format, args...)) }
	flags.Visit(func(f *flag.Flag) {
		if f.Value.String() == "" {
			fault("-%s: must not be empty", f.Name)
		}
	})
	if rest := flags.Args(); len(rest) > 0 {
		fault("%q: no arguments are taken after the flags", rest[0])
	}
	if !(math.Abs(opts.gain) <= 20) {
		fault("-gain %g: must be at least -20 and at most 20 stops", opts.gain)
	}
	if opts.keepPlates && opts.plates != "" {
		fault("-keep-plates: the plates of -plates are kept already")
	}
	if len(faults) == 0 {
		return nil
	}
	return program.Input(errors.Join(faults...))
}

// prepare reads the input and makes all checks that need no picture to be made or
// decoded. It writes nothing.
func prepare(ctx context.Context, opts options) (*job, error) {
	j := &job{options: opts, scene: harbour.New()}
	s, err := readScenario(ctx, opts.scenario)
	if err != nil {
		return nil, err
	}
	if j.shoot, err = newShoot(s); err != nil {
		return nil, program.Prefix(opts.scenario, err)
	}
	if opts.plates != "" {
		if j.files, err = findPlates(ctx, opts.plates, s.Plates); err != nil {
			return nil, err
		}
	}
	if opts.sphere != "" {
		if err := checkSphere(ctx, opts.sphere); err != nil {
			return nil, err
		}
	}
	j.out, err = program.ChooseFolder(opts.out, filepath.Join("out", "ferry"))
	return j, err
}

// produce makes all pictures and the report. It writes the report to a file, and prints
// it only after everything has succeeded: a wrong plate must not leave half a report.
func (j *job) produce(ctx context.Context, out *program.Folder, stdout, stderr io.Writer) error {
	m := newMaker(ctx, j, out, stderr)
	if err := m.frames(); err != nil {
		return err
	}
	if err := m.charts(); err != nil {
		return err
	}
	var text bytes.Buffer
	r := &report{out: &text}
	r.all(&j.shoot)
	r.frames(m.made, &j.shoot)
	r.summary()
	kept, err := out.Create("report.txt")
	if err != nil {
		return err
	}
	if _, err := kept.Write(text.Bytes()); err != nil {
		return errors.Join(err, kept.Close())
	}
	if err := kept.Close(); err != nil {
		return err
	}
	name, err := out.Commit()
	if err != nil {
		return err
	}
	fmt.Fprintf(&text, "\nThe report and %d pictures are in %s\n", len(m.made.pictures), strict.Printable(name, 4096))
	return printed(stdout.Write(text.Bytes()))
}
