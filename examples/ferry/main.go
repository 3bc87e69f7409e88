// Ferry answers, for one shoot and its replay on a stage, the questions that
// this library is for, and makes the frames: the plates, the frame of each LED
// wall for each position of the tracked camera, a push-in, and charts.
//
//	go run ./examples/ferry
//	go run ./examples/ferry -scenario my.json -plates plates/ -out evening
//
// Exit status: 0 done, 1 something failed on the way, 2 wrong input.
//
// All computing is in the packages; what stands here composes, formats and
// draws. To start a program of your own from it, replace internal/quantity
// (printing) and internal/strict (reading the scenario), which other modules
// cannot import.
package main

import (
	"bytes"
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"math"
	"os"
	"os/signal"
	"path/filepath"
	"strings"
	"syscall"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	os.Exit(run(ctx, os.Args[1:], os.Stdout, os.Stderr))
}

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

// run is main without the process: it returns the exit status.
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
	in, err := prepare(opts, flags.Args())
	if err != nil {
		return complain(stderr, err, 2)
	}
	if opts.reportOnly {
		r := &report{out: stdout}
		r.all(&in.shoot)
		r.summary()
		return 0
	}
	if err := in.produce(ctx, stdout, stderr); err != nil {
		if errors.As(err, new(inputError)) {
			return complain(stderr, err, 2)
		}
		return complain(stderr, err, 1)
	}
	return 0
}

// complain prints each line of an error under the program's name.
func complain(stderr io.Writer, err error, status int) int {
	for _, line := range strings.Split(err.Error(), "\n") {
		fmt.Fprintf(stderr, "ferry: %s\n", line)
	}
	return status
}

// inputError is a fault of the user's files that only reading them whole shows.
type inputError struct{ error }

// job is a checked command line with its checked scenario.
type job struct {
	options
	shoot shoot
	files []string // of the plates, by camera; nil: they are made
	scene scene    // what they show, where no picture is given
}

// prepare reads and checks everything that can be checked without making or
// decoding a picture. Nothing is written.
func prepare(opts options, rest []string) (*job, error) {
	j := &job{options: opts, scene: newHarbour()}
	switch {
	case len(rest) > 0:
		return nil, fmt.Errorf("%q: no arguments are taken after the flags", rest[0])
	case !(math.Abs(opts.gain) <= 20):
		return nil, fmt.Errorf("-gain %g: must be at least -20 and at most 20 stops", opts.gain)
	case opts.keepPlates && opts.plates != "":
		return nil, errors.New("-keep-plates: the plates of -plates are kept already")
	}
	s, err := readScenario(opts.scenario)
	if err != nil {
		return nil, err
	}
	if j.shoot, err = newShoot(s); err != nil {
		return nil, prefix(opts.scenario, err)
	}
	if opts.plates != "" {
		if j.files, err = findPlates(opts.plates, s.Plates); err != nil {
			return nil, err
		}
	}
	if opts.sphere != "" {
		if err := checkSphere(opts.sphere); err != nil {
			return nil, err
		}
	}
	if opts.out != "" {
		j.out = filepath.Clean(opts.out)
	}
	if opts.out == "" {
		j.out, err = freeFolder(filepath.Join("out", "ferry"))
	} else if _, statErr := os.Lstat(opts.out); statErr == nil {
		err = fmt.Errorf("-out %s: exists already; name a new folder", opts.out)
	}
	return j, err
}

// freeFolder is the first of base, base-2, base-3 … that does not exist.
func freeFolder(base string) (string, error) {
	for i := 1; i < 10000; i++ {
		name := base
		if i > 1 {
			name = fmt.Sprintf("%s-%d", base, i)
		}
		if _, err := os.Lstat(name); errors.Is(err, os.ErrNotExist) {
			return name, nil
		}
	}
	return "", fmt.Errorf("%s: ten thousand of them exist; name a folder with -out", base)
}

func isFolder(path string) bool {
	info, err := os.Stat(path)
	return err == nil && info.IsDir()
}

// produce prints the report and makes all pictures in a folder beside the one
// asked for, which gets its name when all is done: a run that fails leaves
// nothing behind.
func (j *job) produce(ctx context.Context, stdout, stderr io.Writer) (err error) {
	// The work is done beside the first folder above that exists, so that what
	// is missing in between is only made once all has gone well.
	place := filepath.Dir(j.out)
	for !isFolder(place) && place != filepath.Dir(place) {
		place = filepath.Dir(place)
	}
	folder := filepath.Join(place, fmt.Sprintf(".%s-%d", filepath.Base(j.out), os.Getpid()))
	if err := os.Mkdir(folder, 0o777); err != nil {
		return err
	}
	defer func() {
		if err != nil {
			os.RemoveAll(folder)
		}
	}()
	// What is printed is also kept; a wrong plate must not leave half a report.
	var text bytes.Buffer
	m := newMaker(ctx, j, folder, stderr)
	if err := m.frames(); err != nil {
		return err
	}
	if err := m.charts(); err != nil {
		return err
	}
	r := &report{out: &text}
	r.all(&j.shoot)
	r.frames(m.made)
	r.summary()
	if err := os.WriteFile(filepath.Join(folder, "report.txt"), text.Bytes(), 0o666); err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Dir(j.out), 0o777); err != nil {
		return err
	}
	if err := os.Rename(folder, j.out); err != nil {
		return err
	}
	fmt.Fprintf(&text, "\nThe report and %d pictures are in %s\n", len(m.made.pictures), j.out)
	_, err = stdout.Write(text.Bytes())
	return err
}
