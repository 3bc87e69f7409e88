package program

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"

	"example.com/platewright/internal/strict"
)

// Folder is the folder that a run writes. Files are first written to a temporary folder
// beside it, which is renamed when all is done. A Folder is safe for concurrent use.
type Folder struct {
	ctx  context.Context
	name string // the final folder
	work string // the temporary folder

	lock  sync.Mutex
	ended bool // nothing more is written
	kept  bool // the folder has its final name
}

// NewFolder makes the temporary folder, in the nearest folder above name that exists. Missing
// folders in between are made by Commit, once all has succeeded.
func NewFolder(ctx context.Context, name string) (*Folder, error) {
	place := filepath.Dir(name)
	for {
		info, err := os.Stat(place)
		switch {
		case err == nil && !info.IsDir():
			return nil, fmt.Errorf("-out %s: %s is not a folder", name, place)
		case err == nil:
			work, err := workFolder(place, filepath.Base(name))
			if err != nil {
				return nil, fmt.Errorf("-out %s: nothing can be written into %s: %w", name, place, Cause(err))
			}
			return &Folder{ctx: ctx, name: name, work: work}, nil
		case !errors.Is(err, fs.ErrNotExist):
			return nil, fmt.Errorf("-out %s: %s: %w", name, place, Cause(err))
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

// Create makes a file of the output. Its writes fail once the context has ended.
func (f *Folder) Create(name string) (io.WriteCloser, error) {
	f.lock.Lock()
	defer f.lock.Unlock()
	if f.ended {
		return nil, context.Canceled
	}
	path := f.Path(name)
	if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
		return nil, err
	}
	opened, err := os.Create(path)
	return file{f.ctx, opened}, err
}

// Path is where a file or folder of the output is until Commit, for what writes or reads
// it by name.
func (f *Folder) Path(name string) string { return filepath.Join(f.work, filepath.FromSlash(name)) }

// Commit gives the folder its final name and returns the name. If another run has taken
// the name meanwhile, Commit uses the next free one, so that neither run is lost.
func (f *Folder) Commit() (name string, err error) {
	f.lock.Lock()
	defer f.lock.Unlock()
	if err := f.ctx.Err(); err != nil || f.ended {
		return "", context.Canceled
	}
	if err := os.MkdirAll(filepath.Dir(f.name), 0o777); err != nil {
		return "", err
	}
	for i := 1; ; i++ {
		name := numbered(f.name, i)
		if _, err := os.Lstat(name); err == nil {
			continue
		}
		err := os.Rename(f.work, name)
		if errors.Is(err, fs.ErrExist) {
			continue
		}
		if err == nil {
			f.name, f.ended, f.kept = name, true, true
		}
		return name, err
	}
}

// Abandon removes all that has been written. It returns false, and removes nothing, if
// Commit has already succeeded.
func (f *Folder) Abandon() bool {
	f.lock.Lock()
	defer f.lock.Unlock()
	if !f.ended {
		os.RemoveAll(f.work)
		f.ended = true
	}
	return !f.kept
}

// ChooseFolder is the folder that a command line names. Without a name it is the first of
// standard, standard-2, standard-3 … that does not exist.
func ChooseFolder(name, standard string) (string, error) {
	if name == "" {
		return free(standard), nil
	}
	name = filepath.Clean(name)
	if _, err := os.Lstat(name); err == nil {
		return "", fmt.Errorf("-out %s: exists already; name a new folder", name)
	}
	return name, nil
}

// free is the first of base, base-2, base-3 … that does not exist.
func free(base string) string {
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

// Open opens a file for reading. It refuses pipes and devices, which may never end.
func Open(ctx context.Context, path string) (io.ReadCloser, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, Cause(err))
	}
	if !info.Mode().IsRegular() {
		return nil, fmt.Errorf("%s: is %s: must be a file", path, kind(info.Mode()))
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, Cause(err))
	}
	return file{ctx, f}, nil
}

// ReadJSON reads a file of at most 1 MiB into a value, as package strict does. Each line of
// an error begins with the path.
func ReadJSON(ctx context.Context, path string, v any) error {
	f, err := Open(ctx, path)
	if err != nil {
		return err
	}
	defer f.Close()
	const most = 1 << 20
	data, err := io.ReadAll(io.LimitReader(f, most+1))
	if err != nil {
		return fmt.Errorf("%s: %w", path, Cause(err))
	}
	if len(data) > most {
		return fmt.Errorf("%s: must be at most %d bytes", path, most)
	}
	return Prefix(path, strict.Decode(data, v))
}

// Prefix puts a place before each line of an error.
func Prefix(place string, err error) error {
	if err == nil {
		return nil
	}
	return errors.New(place + ": " + strings.ReplaceAll(err.Error(), "\n", "\n"+place+": "))
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

// Cause is the error inside a PathError. The operation and the path of a PathError would
// repeat what the message already says.
func Cause(err error) error {
	var p *fs.PathError
	if errors.As(err, &p) {
		return p.Err
	}
	return err
}
