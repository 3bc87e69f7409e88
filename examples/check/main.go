// Check measures folders of recorded frames. It says what is wrong, where, how sure that
// is, and against which prediction.
//
//	go run ./examples/check
//	go run ./examples/check -scenario take.json -out checked takes/12/bow takes/12/stern
//
// A folder holds the frames of one camera, and has its name; a folder of such folders
// stands for all of them. Without folders the program makes a demonstration: frames of an
// array and of a camera before a wall, with faults put in on purpose.
//
// Exit status: 0 if no limit is shown to be exceeded, 1 if one is or if something failed
// on the way, 2 if the input is wrong, 130 if the run was interrupted.
//
// The packages do all the measuring. This program reads, composes, formats and draws.
package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"image/png"
	"io"
	"os"
	"path/filepath"
	"runtime/debug"
	"slices"

	"example.com/platewright/examples/internal/program"
	"example.com/platewright/internal/strict"
)

var errInvalid = errors.New("check: invalid value")

func main() {
	// Frames are large and few: without this, twice their memory would be taken.
	debug.SetGCPercent(20)
	program.Exit(run)
}

// options are the command line.
type options struct {
	scenario string
	out      string
	json     string
	folders  []string
	demo     demoOptions
}

// run does the work of main and returns the exit status, so that tests can call it.
func run(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	var opts options
	flags := flag.NewFlagSet("check", flag.ContinueOnError)
	flags.SetOutput(stderr)
	flags.StringVar(&opts.scenario, "scenario", "", "what was predicted, in this `file`")
	flags.StringVar(&opts.out, "out", "", "write report, findings and a sheet of pictures into this new `folder`\n(the demonstration's default is out/check, out/check-2 …)")
	flags.StringVar(&opts.json, "json", "", "write the findings into this new `file`; - prints them instead of the report")
	flags.Uint64Var(&opts.demo.Seed, "seed", 1, "`number` of the demonstration's noise")
	flags.BoolVar(&opts.demo.Clean, "clean", false, "make a demonstration without faults")
	flags.Usage = func() {
		fmt.Fprintf(stderr, "check [flags] [folder …]: measure folders of recorded frames\n")
		flags.PrintDefaults()
	}
	switch err := flags.Parse(args); {
	case errors.Is(err, flag.ErrHelp):
		return 0
	case err != nil:
		return 2 // package flag has said why
	}
	opts.folders = flags.Args()
	if err := checkFlags(opts, flags); err != nil {
		return program.Complain("check", stderr, program.Input(err))
	}
	exceeded := false
	status := program.Run(ctx, "check", stderr, func(hold func(*program.Folder)) (err error) {
		exceeded, err = work(ctx, opts, stdout, stderr, hold)
		return err
	})
	if status == 0 && exceeded {
		return 1
	}
	return status
}

// checkFlags checks the command line without reading any file.
func checkFlags(opts options, flags *flag.FlagSet) error {
	var faults []error
	flags.Visit(func(f *flag.Flag) {
		switch {
		case f.Value.String() == "":
			faults = append(faults, fmt.Errorf("-%s: must not be empty", f.Name))
		case len(opts.folders) > 0 && (f.Name == "seed" || f.Name == "clean"):
			faults = append(faults, fmt.Errorf("-%s: is for the demonstration, and folders are given", f.Name))
		case len(opts.folders) == 0 && f.Name == "scenario":
			faults = append(faults, errors.New("-scenario: goes with folders of frames; none is given"))
		}
	})
	if opts.json != "" && opts.json != "-" {
		if _, err := os.Lstat(opts.json); err == nil {
			faults = append(faults, fmt.Errorf("-json %s: exists already; name a new file", opts.json))
		} else if folder, err := os.Stat(filepath.Dir(opts.json)); err != nil {
			faults = append(faults, fmt.Errorf("-json %s: %s: %w", opts.json, filepath.Dir(opts.json), program.Cause(err)))
		} else if !folder.IsDir() {
			faults = append(faults, fmt.Errorf("-json %s: %s is not a folder", opts.json, filepath.Dir(opts.json)))
		}
	}
	return errors.Join(faults...)
}

// work checks the folders, or those of the demonstration, and reports whether a limit is
// exceeded. The report is printed only after all has succeeded.
func work(ctx context.Context, opts options, stdout, stderr io.Writer, hold func(*program.Folder)) (exceeded bool, err error) {
	var out *program.Folder
	if opts.out != "" || len(opts.folders) == 0 {
		name, err := program.ChooseFolder(opts.out, filepath.Join("out", "check"))
		if err != nil {
			return false, program.Input(err)
		}
		if out, err = program.NewFolder(ctx, name); err != nil {
			return false, program.Input(err)
		}
		hold(out)
	}
	if len(opts.folders) == 0 {
		fmt.Fprintln(stderr, "making the frames of the demonstration")
		frames := out.Path("frames")
		if err := os.Mkdir(frames, 0o777); err != nil {
			return false, err
		}
		if _, err := demonstrate(ctx, frames, opts.demo); err != nil {
			return false, err
		}
		opts.folders, opts.scenario = []string{frames}, filepath.Join(frames, "scenario.json")
	}
	found, err := inspect(ctx, opts, stderr)
	if err != nil {
		return false, err
	}
	exceeded = slices.ContainsFunc(found.Findings, func(f finding) bool { return f.Verdict == over })
	var text, data bytes.Buffer
	found.write(&text)
	encoder := json.NewEncoder(&data)
	encoder.SetIndent("", "  ")
	encoder.SetEscapeHTML(false)
	if err := encoder.Encode(found); err != nil {
		return false, err
	}
	if out != nil {
		if err := keep(ctx, out, found, text.Bytes(), data.Bytes()); err != nil {
			return false, err
		}
		name, err := out.Commit()
		if err != nil {
			return false, err
		}
		fmt.Fprintf(&text, "\nThe report, the findings as JSON and the sheet are in %s\n", strict.Printable(name, 4096))
	}
	if err := ctx.Err(); err != nil {
		return false, err
	}
	switch opts.json {
	case "":
	case "-":
		text = data
	default:
		if err := writeNew(opts.json, data.Bytes()); err != nil {
			return false, err
		}
	}
	if _, err := stdout.Write(text.Bytes()); err != nil {
		return false, fmt.Errorf("the report cannot be printed: %w", program.Cause(err))
	}
	return exceeded, nil
}

// keep writes report, findings and sheet into the output.
func keep(ctx context.Context, out *program.Folder, found *result, text, data []byte) error {
	sheet, err := drawSheet(ctx, found)
	if err != nil {
		return err
	}
	for _, file := range []struct {
		name  string
		write func(w io.Writer) error
	}{
		{"report.txt", func(w io.Writer) error { _, err := w.Write(text); return err }},
		{"findings.json", func(w io.Writer) error { _, err := w.Write(data); return err }},
		{"sheet.png", func(w io.Writer) error { return png.Encode(w, sheet) }},
	} {
		f, err := out.Create(file.name)
		if err != nil {
			return err
		}
		if err := errors.Join(file.write(f), f.Close()); err != nil {
			return err
		}
	}
	return nil
}

// writeNew writes a file that must not exist.
func writeNew(path string, data []byte) error {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o666)
	if err != nil {
		return fmt.Errorf("-json %s: %w", path, program.Cause(err))
	}
	_, err = f.Write(data)
	if err = errors.Join(err, f.Close()); err != nil {
		os.Remove(path)
	}
	return err
}
