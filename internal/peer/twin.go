package main

import (
	"bufio"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"

	"example.com/platewright/projection/warp"
)

// startTwin builds this program without assembly and starts it as a process
// that answers as the Python one does.
func startTwin(folder string, shrink int) (*peerProcess, error) {
	program := filepath.Join(folder, "twin")
	out, err := exec.Command("go", "build", "-tags", "purego", "-o", program, "example.com/platewright/internal/peer").CombinedOutput()
	if err != nil {
		return nil, fmt.Errorf("building without assembly: %w: %s", err, out)
	}
	return startProcess(exec.Command(program, "-what", "twin", "-shrink", fmt.Sprint(shrink)))
}

// resampler is frames of any sample type.
type resampler interface {
	warp(warp.Options) error
	together(warp.Options) error
	sum() float64
}

// twinWords ask the twin for what options do on one thread.
func twinWords(command string, o warp.Options) []any {
	return []any{command, uint8(o.Filter), uint8(o.Minify)}
}

// twin answers each line of stdin with a number: the seconds it took, a check
// sum, or 0.
func twin(shrink int) error {
	s, err := newStage(shrink)
	if err != nil {
		return err
	}
	fmt.Println("ours without assembly")
	var r resampler
	for in := bufio.NewScanner(os.Stdin); in.Scan(); {
		words := strings.Fields(in.Text())
		answer := 0.0
		switch words[0] {
		case "frames":
			switch words[1] {
			case "uint8":
				r, err = newFrames[uint8](s, 255)
			case "uint16":
				r, err = newFrames[uint16](s, 65535)
			case "float32":
				r, err = newFrames[float32](s, 1)
			}
		case "warp", "together":
			o := warp.Options{Workers: 1}
			if _, err = fmt.Sscan(strings.Join(words[1:], " "), (*uint8)(&o.Filter), (*uint8)(&o.Minify)); err != nil {
				break
			}
			do := r.warp
			if words[0] == "together" {
				do = r.together
			}
			start := time.Now()
			err = do(o)
			answer = time.Since(start).Seconds()
		case "sum":
			answer = r.sum()
		case "forget_frames":
			r = nil
		default:
			err = fmt.Errorf("unknown command %q", words[0])
		}
		if err != nil {
			return err
		}
		fmt.Println(answer)
	}
	return nil
}
