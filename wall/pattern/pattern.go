package pattern

import (
	"errors"
	"runtime"
	"sync"
	"sync/atomic"

	"example.com/platewright/internal/plane"
	"example.com/platewright/internal/valid"
)

// ErrInvalid is wrapped by every error of this package.
var ErrInvalid = errors.New("pattern: invalid value")

func newChecker() *valid.Checker { return valid.New("pattern", ErrInvalid) }

func fault(field, value, format string, args ...any) error {
	c := newChecker()
	c.Fault(field, value, format, args...)
	return c.Err()
}

// Sample is a type of samples.
type Sample = plane.Sample

// Plane is one channel of a picture: Width × Height samples in Pix. Row y begins at
// y · Stride, and samples of a row are Step apart. Zero means Width · Step for Stride
// and 1 for Step. Samples are not copied.
type Plane[T Sample] = plane.Plane[T]

// Estimate is a measured value. Uncertainty is its standard uncertainty: one standard
// deviation.
type Estimate struct{ Value, Uncertainty float64 }

// Region is a part of a picture in pixels: the first column and row, and how many of
// them.
type Region struct{ X, Y, Width, Height int }

func (r Region) within(s Region) bool {
	return r.X >= s.X && r.Y >= s.Y && r.X+r.Width <= s.X+s.Width && r.Y+r.Height <= s.Y+s.Height
}

// lights turns samples into linear light.
type lights[T Sample] struct {
	curve func(code float64) float64 // nil: samples are linear
	table []float64                  // of each whole number, or nil
}

func newLights[T Sample](curve func(code float64) (light float64), samples int) lights[T] {
	l := lights[T]{curve: curve}
	if n := int(plane.FullScale[T]()); n > 1 && curve != nil && samples > n {
		l.table = make([]float64, n+1)
		for i := range l.table {
			l.table[i] = curve(float64(i))
		}
	}
	return l
}

func (l lights[T]) of(v T) float64 {
	switch {
	case l.table != nil:
		return l.table[int(v)]
	case l.curve != nil:
		return l.curve(float64(v))
	}
	return float64(v)
}

func notFinite(x, y int) error {
	return fault("sample", "NaN or infinite", "must be a number, as must its light (column %d, row %d)", x, y)
}

// parallel calls work for 0 to n−1, on as many goroutines as there are processors, and
// tells each which of them it is.
func parallel(n int, work func(worker, i int)) {
	workers := min(n, runtime.GOMAXPROCS(0))
	var next atomic.Int64
	var all sync.WaitGroup
	for w := range workers {
		all.Add(1)
		go func() {
			defer all.Done()
			for i := int(next.Add(1)) - 1; i < n; i = int(next.Add(1)) - 1 {
				work(w, i)
			}
		}()
	}
	all.Wait()
}
