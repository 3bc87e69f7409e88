package plate_test

import (
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/sensor/plate"
	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Counts, percentiles and bars of a take of small frames with stride and step, against
// loops over their samples.
func TestLevelsByCounting(t *testing.T) {
	// A slanting picture that leaves the frame on both sides, with rows of none.
	slanting := func(y int) (from, end int) { return 2*y - 30, 3*y + 4 }
	for name, columns := range map[string]func(int) (int, int){"all": nil, "slanting": slanting} {
		t.Run("uint8, "+name, func(t *testing.T) { levelsByCounting[uint8](t, 250, 10, 255, 0, columns) })
		t.Run("uint16, "+name, func(t *testing.T) { levelsByCounting[uint16](t, 60000.5, 299.5, 65535, 0, columns) })
		t.Run("float32, "+name, func(t *testing.T) { levelsByCounting[float32](t, 0.75, -0.25, 1, 1./128, columns) })
	}
}

func levelsByCounting[T plate.Sample](t *testing.T, white, black, scale, coarse float64, columns func(int) (int, int)) {
	const w, h, frames, step, stride = 70, 45, 3, 3, 3*70 + 5
	spec := plate.LevelSpec{White: white, Black: black, Cell: 16, Columns: columns}
	frame := func(i uint64) plate.Plane[T] {
		r := rand.New(rand.NewPCG(1, i))
		p := plate.Plane[T]{Pix: make([]T, stride*h), Width: w, Height: h, Stride: stride, Step: step}
		for i := range p.Pix {
			p.Pix[i] = T(scale * r.Float64())
			if scale == 1 {
				p.Pix[i] = T(1.6*r.Float64() - 0.5)
			}
		}
		return p
	}
	m := must[*plate.LevelMeter[T]](t)(plate.NewLevelMeter[T](spec))
	var all []float64
	clipped, crushed := int64(0), int64(0)
	for i := range frames {
		p := frame(uint64(i))
		for y := range h {
			for x := range w {
				if columns != nil {
					if from, end := columns(y); x < from || x >= end {
						continue
					}
				}
				v := float64(p.Pix[y*stride+x*step])
				all = append(all, v)
				if v >= white {
					clipped++
				}
				if v <= black {
					crushed++
				}
			}
		}
		require.NoError(t, m.Add(p))
	}
	l := must[plate.Levels](t)(m.Measure())
	n := int64(len(all))
	ref.Equal(t, "S-PLATE-COUNTS", l.Crushed.Samples, crushed)
	ref.Equal(t, "S-PLATE-COUNTS", l.Clipped.Samples, clipped)
	assert.Equal(t, n, l.Samples)
	assert.Equal(t, frames, l.Frames)
	assert.InDelta(t, float64(clipped)/float64(n), l.Clipped.Fraction, 1e-15, "a quotient")
	assert.InDelta(t, float64(crushed)/float64(n), l.Crushed.Fraction, 1e-15, "a quotient")
	assert.Positive(t, crushed)
	slices.Sort(all)
	for _, f := range []float64{0, 1e-9, 0.001, 0.1, 0.25, 0.5, 0.9, 0.999, 1} {
		want := all[max(0, int(math.Ceil(f*float64(n)))-1)]
		got, ok := l.Percentile(f)
		require.True(t, ok)
		if coarse == 0 {
			ref.Equal(t, "S-PLATE-COUNTS", got, want, f)
		} else {
			assert.InDelta(t, want*(1-coarse/2), got, math.Abs(want)*coarse/2+1e-9, "nearer to 0 by up to a bin")
		}
	}
	for _, bar := range [][2]float64{{0, scale / 4}, {scale / 4, scale / 2}, {-1, 2 * scale}, {scale / 2, scale / 2}, {scale / 2, scale / 4}} {
		want := int64(0)
		for _, v := range all {
			if v >= bar[0] && v < bar[1] {
				want++
			}
		}
		// Powers of two are ends of bins.
		ref.Equal(t, "S-PLATE-COUNTS", l.Count(bar[0], bar[1]), want, bar)
	}
	for _, f := range []float64{-1e-9, 1.0000001, math.NaN(), math.Inf(1)} {
		code, ok := l.Percentile(f)
		assert.False(t, ok, f)
		assert.Zero(t, code)
	}
	_, ok := plate.Levels{}.Percentile(0.5)
	assert.False(t, ok)

	old := runtime.GOMAXPROCS(5) // the same on any number of processors
	defer runtime.GOMAXPROCS(old)
	again := must[*plate.LevelMeter[T]](t)(plate.NewLevelMeter[T](spec))
	for i := range frames {
		require.NoError(t, again.Add(frame(uint64(i))))
	}
	assert.Empty(t, cmp.Diff(l, must[plate.Levels](t)(again.Measure()), cmpopts.IgnoreUnexported(plate.Levels{})))
}

// Rectangles of clipped and crushed samples, drawn by hand, in cells of 10 px.
func TestAreas(t *testing.T) {
	const w, h = 95, 52
	m := must[*plate.LevelMeter[uint8]](t)(plate.NewLevelMeter[uint8](plate.LevelSpec{Cell: 10, CellFraction: 0.5}))
	frame := func(parts map[plate.Region]uint8) plate.Plane[uint8] {
		p := plate.Plane[uint8]{Pix: make([]uint8, w*h), Width: w, Height: h}
		for i := range p.Pix {
			p.Pix[i] = 100
		}
		for r, v := range parts {
			for y := r.Y; y < r.Y+r.Height; y++ {
				for x := r.X; x < r.X+r.Width; x++ {
					p.Pix[y*w+x] = v
				}
			}
		}
		return p
	}
	require.NoError(t, m.Add(frame(map[plate.Region]uint8{
		{X: 10, Y: 0, Width: 30, Height: 10}:  255, // three cells
		{X: 40, Y: 10, Width: 10, Height: 8}:  255, // one that touches at a corner, most of it
		{X: 70, Y: 30, Width: 10, Height: 5}:  255, // half of a cell: no more than the fraction
		{X: 91, Y: 50, Width: 4, Height: 2}:   255, // most of a cell of 5 × 2
		{X: 20, Y: 40, Width: 10, Height: 10}: 0,
	})))
	require.NoError(t, m.Add(frame(map[plate.Region]uint8{
		{X: 40, Y: 10, Width: 10, Height: 10}: 255, // more than before
		{X: 10, Y: 0, Width: 10, Height: 9}:   255, // less
		{X: 0, Y: 50, Width: 10, Height: 2}:   0,
	})))
	l := must[plate.Levels](t)(m.Measure())
	want := plate.Levels{
		Frames: 2, Samples: 2 * w * h,
		Clipped: plate.Extent{Samples: 300 + 80 + 50 + 8 + 100 + 90, Areas: []plate.Area{
			{Region: plate.Region{X: 10, Y: 0, Width: 40, Height: 20}, Samples: 400, Frame: 0},
			{Region: plate.Region{X: 90, Y: 50, Width: 5, Height: 2}, Samples: 8},
		}},
		Crushed: plate.Extent{Samples: 120, Areas: []plate.Area{
			{Region: plate.Region{X: 20, Y: 40, Width: 10, Height: 10}, Samples: 100},
			{Region: plate.Region{X: 0, Y: 50, Width: 10, Height: 2}, Samples: 20, Frame: 1},
		}},
	}
	assert.Empty(t, cmp.Diff(want, l, cmpopts.IgnoreUnexported(plate.Levels{}), cmpopts.IgnoreFields(plate.Extent{}, "Fraction")))
}

func TestLevelsOfBadFrames(t *testing.T) {
	for want, spec := range map[string]plate.LevelSpec{
		"plate: cell 7 px: must be at least 8 and at most 4096 px":    {Cell: 7},
		"plate: cell fraction 1: must be more than 0 and less than 1": {CellFraction: 1},
		"plate: white NaN": {White: math.NaN()},
		"plate: black 65535: must be less than white, 65535":                       {Black: 65535},
		"plate: cell fraction -1: must be more than 0 and less than 1":             {CellFraction: -1},
		"plate: white +Inf: must be at least -3.40282e+38 and at most 3.40282e+38": {White: math.Inf(1)},
	} {
		m, err := plate.NewLevelMeter[uint16](spec)
		assert.ErrorContains(t, err, want)
		assert.ErrorIs(t, err, plate.ErrInvalid)
		assert.Nil(t, m)
	}
	assert.ErrorContains(t, new(plate.LevelMeter[uint8]).Add(plate.Plane[uint8]{Pix: []uint8{1}, Width: 1, Height: 1}), "must come from NewLevelMeter")
	m := must[*plate.LevelMeter[float32]](t)(plate.NewLevelMeter[float32](plate.LevelSpec{}))
	_, err := m.Measure()
	assert.ErrorContains(t, err, "plate: frames 0: must be at least 1")
	assert.ErrorContains(t, m.Add(plate.Plane[float32]{}), "frame 0 × 0 px")
	good := plate.Plane[float32]{Pix: make([]float32, 200), Width: 20, Height: 10}
	require.NoError(t, m.Add(good))
	for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		bad := plate.Plane[float32]{Pix: make([]float32, 200), Width: 20, Height: 10}
		bad.Pix[20*7+3] = float32(v)
		assert.EqualError(t, m.Add(bad), "plate: sample NaN or infinite: must be a number, as must its light (column 3, row 7)")
	}
	// The first bad sample of this channel, whoever counts its row; those of others do no harm.
	bad := plate.Plane[float32]{Pix: make([]float32, 3*200), Width: 20, Height: 10, Step: 3}
	bad.Pix[3*20*4+3*2+1] = float32(math.NaN())
	require.NoError(t, m.Add(bad))
	bad.Pix[3*20*4+3*5] = float32(math.NaN())
	bad.Pix[3*20*6] = float32(math.NaN())
	assert.ErrorContains(t, m.Add(bad), "(column 5, row 4)")
	d := must[*plate.DefectMeter[float32]](t)(plate.NewDefectMeter[float32](plate.DefectSpec{}))
	assert.ErrorContains(t, d.Add(bad), "(column 5, row 4)")
	assert.ErrorContains(t, m.Add(plate.Plane[float32]{Pix: make([]float32, 200), Width: 10, Height: 20}), "frame 10 × 20 px: must be as large as the first, 20 × 10 px")
	l := must[plate.Levels](t)(m.Measure())
	assert.Equal(t, int64(400), l.Samples, "bad frames are left out")
	assert.Equal(t, 1.0, l.Crushed.Fraction, "all black")
	assert.Len(t, l.Crushed.Areas, 1)

	// Limits beyond all codes.
	for _, c := range []struct {
		spec plate.LevelSpec
		want float64
	}{{plate.LevelSpec{White: 1e11, Black: 1e10}, 1}, {plate.LevelSpec{White: 1e11, Black: -1e10}, 0}, {plate.LevelSpec{White: -1e10, Black: -1e11}, 0}} {
		spec, want := c.spec, c.want
		m := must[*plate.LevelMeter[uint8]](t)(plate.NewLevelMeter[uint8](spec))
		require.NoError(t, m.Add(plate.Plane[uint8]{Pix: make([]uint8, 200), Width: 20, Height: 10}))
		l := must[plate.Levels](t)(m.Measure())
		assert.Equal(t, want, l.Crushed.Fraction, "white %g, black %g", spec.White, spec.Black)
		assert.Equal(t, spec.White < 0, l.Clipped.Fraction == 1, "white %g, black %g", spec.White, spec.Black)
	}

	// Samples beside the picture may be anything; in it they are found where they are.
	part := must[*plate.LevelMeter[float32]](t)(plate.NewLevelMeter[float32](plate.LevelSpec{Columns: func(int) (int, int) { return 5, 15 }}))
	bad = plate.Plane[float32]{Pix: make([]float32, 200), Width: 20, Height: 10}
	bad.Pix[20*7+3] = float32(math.NaN())
	require.NoError(t, part.Add(bad))
	bad.Pix[20*7+9] = float32(math.NaN())
	assert.ErrorContains(t, part.Add(bad), "(column 9, row 7)")
	none := must[*plate.LevelMeter[float32]](t)(plate.NewLevelMeter[float32](plate.LevelSpec{Columns: func(int) (int, int) { return 20, 40 }}))
	assert.ErrorContains(t, none.Add(bad), "columns none: must be some in one row at least")

	white := must[*plate.LevelMeter[uint8]](t)(plate.NewLevelMeter[uint8](plate.LevelSpec{}))
	all := plate.Plane[uint8]{Pix: slices.Repeat([]uint8{255}, 200), Width: 20, Height: 10}
	require.NoError(t, white.Add(all))
	assert.Equal(t, 1.0, must[plate.Levels](t)(white.Measure()).Clipped.Fraction, "all white")
	code, _ := must[plate.Levels](t)(white.Measure()).Percentile(0)
	assert.Equal(t, 255.0, code)
}
