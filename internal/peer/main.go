// Command peer measures packages projection and warp beside general-purpose
// libraries: OpenCV, OpenImageIO and FFmpeg in Debian's versions. All sides do
// the same work in one run, turn by turn, on one thread each; the best time of
// all turns counts. No test needs it. It needs python3-opencv,
// python3-openimageio and ffmpeg:
//
//	go run ./internal/peer                 directions to raster and back
//	go run ./internal/peer -what warp      speed of maps, resampling and blending
//	go run ./internal/peer -what quality   resampled frames against the truth
//	go run ./internal/peer -what exr       our OpenEXR files read by OpenEXR's library
//
// A ratio above 1 means that this library is faster. README.md beside this
// file holds results.
package main

import (
	"flag"
	"fmt"
	"os"
	"os/exec"
	"regexp"
	"runtime"
	"strings"
)

func main() {
	what := flag.String("what", "directions", "directions, warp, quality or exr")
	python := flag.String("python", "/usr/bin/python3", "a Python that has cv2 and OpenImageIO")
	ffmpeg := flag.String("ffmpeg", "ffmpeg", "FFmpeg")
	rounds := flag.Int("rounds", 0, "turns of each side; 0: 200 of directions, 3 of warps")
	cases := flag.String("cases", "", "of warp and quality, only the lines that match this expression")
	shrink := flag.Int("shrink", 1, "of warp, divide the sides of all rasters by this")
	flag.Parse()
	if err := run(*what, *python, *ffmpeg, *rounds, *cases, *shrink); err != nil {
		fmt.Fprintln(os.Stderr, "peer:", err)
		os.Exit(1)
	}
}

func run(what, python, ffmpeg string, rounds int, cases string, shrink int) error {
	chosen, err := regexp.Compile(cases)
	if err != nil {
		return err
	}
	folder, err := os.MkdirTemp("", "peer")
	if err != nil {
		return err
	}
	defer os.RemoveAll(folder)
	shrink = max(shrink, 1)
	if rounds <= 0 {
		rounds = 3
		if what == "directions" {
			rounds = 200
		}
	}
	if what != "twin" { // which warp starts, and which speaks to it alone
		fmt.Println(machine())
	}
	switch what {
	case "directions":
		return directions(python, folder, rounds)
	case "warp":
		return warps(python, ffmpeg, folder, rounds, shrink, chosen)
	case "quality":
		return quality(python, ffmpeg, folder, chosen)
	case "twin":
		return twin(shrink)
	case "exr":
		return openEXR(python, ffmpeg, folder)
	}
	return fmt.Errorf("-what %s: must be directions, warp, quality or exr", what)
}

// machine describes the computer and the Go version.
func machine() string {
	said := map[string]string{"model name": "unknown processor"}
	info, _ := os.ReadFile("/proc/cpuinfo")
	first, _, _ := strings.Cut(string(info), "\n\n")
	for line := range strings.Lines(first) {
		if name, value, ok := strings.Cut(line, ":"); ok {
			said[strings.TrimSpace(name)] = strings.TrimSpace(value)
		}
	}
	model := said["model name"]
	if said["cpu family"] != "" {
		model += fmt.Sprintf(" (family %s, model %s, stepping %s)", said["cpu family"], said["model"], said["stepping"])
	}
	return fmt.Sprintf("%s, %d logical processors; %s %s/%s", model, runtime.NumCPU(), runtime.Version(), runtime.GOOS, runtime.GOARCH)
}

// version returns the first line of FFmpeg's version text, shortened.
func version(ffmpeg string) (string, error) {
	out, err := exec.Command(ffmpeg, "-version").Output()
	if err != nil {
		return "", fmt.Errorf("%s: %w", ffmpeg, err)
	}
	line, _, _ := strings.Cut(string(out), "\n")
	line, _, _ = strings.Cut(line, " Copyright")
	return line, nil
}
