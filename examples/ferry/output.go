package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"sync"
)

// output is the folder that a run writes. Files are first written to a temporary folder
// beside it, which is renamed when all is done. So a run that fails or is interrupted
// leaves nothing behind. An output is safe for concurrent use.
type output struct {
	ctx  context.Context
	name string // the final folder
	work string // the temporary folder

	lock  sync.Mutex
	ended bool // nothing more is written
	kept  bool // the folder has its final name
}

// newOutput makes the temporary folder, in the nearest folder above name that exists.
// Missing folders in between are made by commit, once all has succeeded.
func newOutput(ctx context.Context, name string) (*output, error) {
	place := filepath.Dir(name)
	for {
		info, err := os.Stat(place)
		switch {
		case err == nil && !info.IsDir():
			return nil, fmt.Errorf("-out %s: %s is not a folder", name, place)
		case err == nil:
			work, err := workFolder(place, filepath.Base(name))
			if err != nil {
				return nil, fmt.Errorf("-out %s: nothing can be written into %s: %w", name, place, cause(err))
			}
			return &output{ctx: ctx, name: name, work: work}, nil
		case !errors.Is(err, fs.ErrNotExist):
			return nil, fmt.Errorf("-out %s: %s: %w", name, place, cause(err))
		}
		if _, err := os.Lstat(place); err == nil {
			return nil, fmt.Errorf("-out %s: %s is a link to nowhere", name, place)
		}
		place = filepath.Dir(place)
	}
}

// workFolder makes a new folder with a name that nothing else uses.
func workFolder(place, base string) (string, error) {
	for i := 1; ; i++ {
		work := filepath.Join(place, numbered(fmt.Sprintf(".%s-%d", base, os.Getpid()), i))
		if err := os.Mkdir(work, 0o777); !errors.Is(err, fs.ErrExist) {
			return work, err
		}
	}
}

// create makes a file of the output. Its writes fail once the context has ended.
func (o *output) create(name string) (io.WriteCloser, error) {
	o.lock.Lock()
	defer o.lock.Unlock()
	if o.ended {
		return nil, context.Canceled
	}
	path := filepath.Join(o.work, filepath.FromSlash(name))
	if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
		return nil, err
	}
	f, err := os.Create(path)
	return file{o.ctx, f}, err
}

// commit gives the folder its final name and returns the name. If another run has taken
// the name meanwhile, commit uses the next free one, so that neither run is lost.
func (o *output) commit() (name string, err error) {
	o.lock.Lock()
	defer o.lock.Unlock()
	if err := o.ctx.Err(); err != nil || o.ended {
		return "", context.Canceled
	}
	if err := os.MkdirAll(filepath.Dir(o.name), 0o777); err != nil {
		return "", err
	}
	for i := 1; ; i++ {
		name := numbered(o.name, i)
		if _, err := os.Lstat(name); err == nil {
			continue
		}
		err := os.Rename(o.work, name)
		if errors.Is(err, fs.ErrExist) {
			continue
		}
		if err == nil {
			o.name, o.ended, o.kept = name, true, true
		}
		return name, err
	}
}

// abandon removes all that has been written. It returns false, and removes nothing, if
// commit has already succeeded.
func (o *output) abandon() bool {
	o.lock.Lock()
	defer o.lock.Unlock()
	if !o.ended {
		os.RemoveAll(o.work)
		o.ended = true
	}
	return !o.kept
}

// freeFolder is the first of base, base-2, base-3 … that does not exist.
func freeFolder(base string) string {
	for i := 1; ; i++ {
		name := numbered(base, i)
		if _, err := os.Lstat(name); errors.Is(err, fs.ErrNotExist) || i > 1e6 {
			return name
		}
	}
}

func numbered(base string, i int) string {
	if i == 1 {
		return base
	}
	return fmt.Sprintf("%s-%d", base, i)
}

// file is a file whose reads and writes fail after a context has ended. So an
// interruption also stops the encoding or decoding of a large picture.
type file struct {
	ctx context.Context
	f   *os.File
}

func (f file) Close() error { return f.f.Close() }

func (f file) Read(p []byte) (int, error) {
	if err := f.ctx.Err(); err != nil {
		return 0, err
	}
	return f.f.Read(p)
}

func (f file) Write(p []byte) (int, error) {
	if err := f.ctx.Err(); err != nil {
		return 0, err
	}
	return f.f.Write(p)
}

// open opens a file for reading. It refuses pipes and devices, which may never end.
func open(ctx context.Context, path string) (file, error) {
	info, err := os.Stat(path)
	if err != nil {
		return file{}, fmt.Errorf("%s: %w", path, cause(err))
	}
	if !info.Mode().IsRegular() {
		return file{}, fmt.Errorf("%s: is %s: must be a file", path, kind(info.Mode()))
	}
	f, err := os.Open(path)
	if err != nil {
		return file{}, fmt.Errorf("%s: %w", path, cause(err))
	}
	return file{ctx, f}, nil
}

func kind(mode fs.FileMode) string {
	switch {
	case mode.IsDir():
		return "a folder"
	case mode&fs.ModeNamedPipe != 0:
		return "a pipe"
	case mode&fs.ModeSocket != 0:
		return "a socket"
	}
	return "a device"
}

// cause is the error inside a PathError. The operation and the path of a PathError would
// repeat what the message already says.
func cause(err error) error {
	var p *fs.PathError
	if errors.As(err, &p) {
		return p.Err
	}
	return err
}
