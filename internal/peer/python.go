package main

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strconv"
	"strings"
)

// peerProcess is a process that runs one of our Python scripts, or this program
// built in another way. It prints what it is, then answers each line with a
// number.
type peerProcess struct {
	version string
	cmd     *exec.Cmd
	in      io.WriteCloser
	out     *bufio.Reader
}

func startPython(python, script, folder string) (*peerProcess, error) {
	return startProcess(exec.Command(python, "-c", script, folder))
}

func startProcess(cmd *exec.Cmd) (*peerProcess, error) {
	cmd.Stderr = os.Stderr
	in, err := cmd.StdinPipe()
	if err != nil {
		return nil, err
	}
	pipe, err := cmd.StdoutPipe()
	if err != nil {
		return nil, err
	}
	if err := cmd.Start(); err != nil {
		return nil, err
	}
	p := &peerProcess{cmd: cmd, in: in, out: bufio.NewReader(pipe)}
	p.version, err = p.out.ReadString('\n')
	p.version = strings.TrimSpace(p.version)
	if err != nil {
		return nil, errors.Join(err, p.stop())
	}
	return p, nil
}

// ask sends the words as one line and returns the answer.
func (p *peerProcess) ask(words ...any) (float64, error) {
	if _, err := fmt.Fprintln(p.in, words...); err != nil {
		return 0, err
	}
	line, err := p.out.ReadString('\n')
	if err != nil {
		return 0, fmt.Errorf("asked %s for %v: %w", p.version, words, err)
	}
	return strconv.ParseFloat(strings.TrimSpace(line), 64)
}

func (p *peerProcess) stop() error {
	p.in.Close()
	return p.cmd.Wait()
}

// chunk is the number of values converted to bytes at a time.
const chunk = 1 << 18

// write and read move slices of numbers to files and back, raw and
// little-endian.
func write[T any](path string, values []T) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	for ; len(values) > 0 && err == nil; values = values[min(chunk, len(values)):] {
		err = binary.Write(f, binary.LittleEndian, values[:min(chunk, len(values))])
	}
	return errors.Join(err, f.Close())
}

func read[T any](path string, values []T) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return err
	}
	if n := int64(binary.Size(*new(T))) * int64(len(values)); info.Size() != n {
		return fmt.Errorf("%d bytes came back for %d", info.Size(), n)
	}
	for ; len(values) > 0 && err == nil; values = values[min(chunk, len(values)):] {
		err = binary.Read(f, binary.LittleEndian, values[:min(chunk, len(values))])
	}
	return err
}
