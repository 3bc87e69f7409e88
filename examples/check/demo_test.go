package main

import (
	"compress/zlib"
	"context"
	"flag"
	"fmt"
	"image"
	"image/png"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"example.com/platewright/examples/internal/harbour"
	"example.com/platewright/examples/internal/pngrows"
	numbers "example.com/platewright/internal/near"
	"example.com/platewright/internal/parallel"
	"example.com/platewright/internal/strict"
	"example.com/platewright/lens/transfer"
	"example.com/platewright/projection/rig"
	"example.com/platewright/sensor"
	timing "example.com/platewright/sync"
	"example.com/platewright/sync/banding"
	"example.com/platewright/sync/trace"
	"example.com/platewright/wall"
	"example.com/platewright/wall/alias"
	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/unit"
)

var bigFolder = flag.String("big", "", "new `folder` for eight plates of 12288 × 6480 px")

// demoWorld is a coarse sphere that the tests share.
var demoWorld = sync.OnceValues(func() (*sphere, error) { return newSphere(context.Background(), 64) })

// tiny is the demonstration's scenario with cameras of few photosites.
func tiny(columns int) scenario {
	s := demoScenario(true)
	for i := range s.Cameras {
		c := &s.Cameras[i]
		if c.Kind == witnessCamera {
			continue
		}
		scale := float64(columns) / float64(c.Format.Columns)
		c.Format.Columns, c.Format.Rows = columns, int(float64(c.Format.Rows)*scale)
		c.Format.HeightMm = c.Format.WidthMm * float64(c.Format.Rows) / float64(columns)
		c.RowTimeUs /= scale
		c.Photosite.FullWellE /= scale * scale
		if p := c.Lens.CentrePx; p != nil {
			p[0], p[1] = p[0]*scale, p[1]*scale
		}
	}
	return s
}

// demoCamera is a plate camera of a scenario, with its light lamp shaded.
func demoCamera(t *testing.T, s *scenario, name string, parts rig.Spec) (*plateView, *cameraSpec) {
	t.Helper()
	for i := range s.Cameras {
		if c := &s.Cameras[i]; c.Name == name {
			v, err := newPlateView(s, c, parts)
			require.NoError(t, err)
			v.look()
			return v, c
		}
	}
	t.Fatalf("no camera %q", name)
	return nil, nil
}

func TestScenarioOfDemonstrationReadsBack(t *testing.T) {
	want, path := demoScenario(true), filepath.Join(t.TempDir(), "scenario.json")
	require.NoError(t, writeScenario(path, &want))
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	var got scenario
	require.NoError(t, strict.Decode(text, &got), string(text))
	assert.Empty(t, cmp.Diff(want, got, cmp.Comparer(func(a, b timing.Rate) bool { return a == b })))
}

func TestDemonstrationRefusesUnknownFaults(t *testing.T) {
	_, err := demonstrate(t.Context(), t.TempDir(), demoOptions{Put: []string{"fog"}})
	assert.ErrorContains(t, err, `fault "fog": must be lamp, gain`)
}

// The sphere holds the light of the harbour, but for the small clouds, on all faces and
// across their edges.
func TestSphereHoldsTheHarbour(t *testing.T) {
	world, err := demoWorld()
	require.NoError(t, err)
	scene, r := harbour.New(), rand.New(rand.NewPCG(1, 1))
	var missed, all [2]float64 // sky and water
	for range 4000 {
		d := r3.Unit(r3.Vec{X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()})
		if d.Y < -0.75 || d.Y > -0.2 && d.Y < 0.08 {
			continue // the roof, and what is finer than texels
		}
		part := 0
		if d.Y < 0 {
			part = 1
		}
		got, want := world.at(r3.Scale(3, d)), scene.Radiance(d)
		for c := range got {
			missed[part] += math.Abs(got[c] - fleece(d)*want[c])
			all[part] += want[c]
		}
	}
	assert.Less(t, missed[0]/all[0], 0.05, "texels of 1.4° blur clouds")
	assert.Less(t, missed[1]/all[1], 0.1, "and waves more")
	for _, edge := range []r3.Vec{{X: 1, Y: 1, Z: 0.3}, {X: -1, Y: 0.2, Z: -1}, {X: 0.4, Y: 1, Z: -1}, {X: 1, Y: 1, Z: -1}} {
		const step = 1e-7
		a := world.at(r3.Vec{X: edge.X * (1 + step), Y: edge.Y, Z: edge.Z})
		b := world.at(r3.Vec{X: edge.X, Y: edge.Y * (1 + step), Z: edge.Z})
		c := world.at(r3.Vec{X: edge.X, Y: edge.Y, Z: edge.Z * (1 + step)})
		assert.InDeltaSlice(t, a[:], b[:], 6e-3, "texels of neighbouring faces lie aslant to each other; %v", edge)
		assert.InDeltaSlice(t, a[:], c[:], 6e-3, "texels of neighbouring faces lie aslant to each other; %v", edge)
	}
}

// The mean and the noise of a photosite are those that packages sensor and photosite
// predict from the luminance that it sees.
func TestLightOfAPhotosite(t *testing.T) {
	world, err := demoWorld()
	require.NoError(t, err)
	s := tiny(80)
	v, spec := demoCamera(t, &s, "sky", rig.Spec{})
	p, err := photositeOf(spec)
	require.NoError(t, err)
	const frame = 7
	out := make([]float64, 3*v.width)
	for _, at := range [][2]int{{40, 21}, {25, 10}, {60, 30}} {
		x, y := at[0], at[1]
		v.row(world, &quayLamp{}, frame, y, v.rows[y], out)
		d, ok := v.model.Unproject(float64(x)+0.5, float64(y)+0.5)
		require.True(t, ok)
		theta := math.Acos(d.Y) // from the zenith
		exposure, err := sensor.NewExposure(sensor.ExposureSpec{
			FNumber: 2.8, Time: unit.Time(0.01), Index: 100, Transmission: 0.85, RelativeIllumination: math.Cos(theta),
		})
		require.NoError(t, err)
		opens := frame/24. + float64(y)*v.rowTime
		light := world.at(attitude(opens + 0.005).ToStage(d))
		// Eight periods of the lamps are in an exposure; the sweep is taken at many times.
		sweep := 0.0
		for k := range 1000 {
			for _, w := range sweeps {
				sweep += w[2] * math.Exp(-math.Pow((opens+0.01*(float64(k)+0.5)/1000-w[0])/w[1], 2)/2) / 1000
			}
		}
		luminance := 38 * (light[1] + lampTint[1] + sweep*hazeTint[1])
		lx, ok := exposure.FocalPlane(luminance)
		require.True(t, ok)
		electrons, ok := p.Electrons(lx)
		require.True(t, ok)
		assert.InEpsilon(t, electrons, out[3*x+1], 1e-6, "the sum over the sweep")

		mean, noise, ok := p.Signal(lx)
		require.True(t, ok)
		k, r := newConverter(v.fullWell, v.readNoise), rand.New(rand.NewPCG(1, 2))
		codes := make([]float64, 10000)
		for i := range codes {
			codes[i] = float64(k.code(r, out[3*x+1]))
		}
		got, deviation := stat.MeanStdDev(codes, nil)
		assert.InDelta(t, mean+blackCode, got, 4*noise/100, "four standard deviations of a mean of 10000")
		assert.InEpsilon(t, noise, deviation, 0.03, "four standard deviations of that of 10000")
	}
}

func TestFewPhotonsCount(t *testing.T) {
	k, r := converter{fullWell: 1000, gain: 1, readNoise: 2, variance: 4}, rand.New(rand.NewPCG(3, 4))
	for _, mean := range []float64{0.3, 4, 39, 41} {
		var codes []float64
		for range 20000 {
			codes = append(codes, float64(k.code(r, mean))-blackCode)
		}
		got, variance := stat.MeanVariance(codes, nil)
		assert.InDelta(t, mean, got, 4*math.Sqrt((mean+4)/20000), "four standard deviations")
		assert.InEpsilon(t, mean+4+1./12, variance, 0.05, "four standard deviations; Poisson's variance, that of reading, and that of rounding")
	}
	assert.EqualValues(t, whiteCode, newConverter(1000, 0).code(r, 2000))
}

// The lamps' share of rows is what package banding predicts of a light like 1 + cos: by
// its own way, the overlap of exposures and steps of light.
func TestBandsOfTheLamps(t *testing.T) {
	world, err := demoWorld()
	require.NoError(t, err)
	s := tiny(80)
	rows, rowTime := s.Cameras[2].Format.Rows, s.Cameras[2].RowTimeUs*1e-6
	levels := make([]float64, 4096)
	for i := range levels {
		levels[i] = 1 + math.Cos(2*math.Pi*(float64(i)+0.5)/4096)
	}
	wave, err := banding.Sampled(levels)
	require.NoError(t, err)
	rate := func(n int64) timing.Rate { r, _ := timing.NewRate(n, 1); return r }
	for _, degrees := range []float64{90, 86.4} {
		exposure := degrees / 360 / 24
		spec := banding.Spec{Wall: banding.Wall{Rate: rate(800), Greys: []banding.Waveform{wave}}}
		spec.Camera = timing.ReadoutSpec{Rate: rate(24), Rows: rows, Phase: timing.Leading}
		spec.Camera.Exposure, err = timing.NearestSeconds(unit.Time(exposure), 1e12)
		require.NoError(t, err)
		spec.Camera.RowTime, err = timing.NearestSeconds(unit.Time(rowTime), 1e12)
		require.NoError(t, err)
		p, err := banding.New(spec)
		require.NoError(t, err)
		v, _ := demoCamera(t, &s, "stern", vessel)
		v.exposure = exposure
		for _, frame := range []int{0, 5} {
			phase, err := p.Phase(int64(frame))
			require.NoError(t, err)
			lamps, ok := p.Frame(0, phase)
			require.True(t, ok)
			for y := range lamps {
				m := v.moment(frame, y)
				got := (m.veil[1] - swept(v.opens(frame, y), exposure)*hazeTint[1]) / lampTint[1]
				require.InDelta(t, lamps[y], got, 1e-5, "4096 steps of light; row %d", y)
			}
		}
		if degrees == 86.4 {
			assert.Less(t, v.bandDepth(world, &quayLamp{}), 1e-6, "eight periods")
			continue
		}
		// The mean over rows and frames of what the lamps are of the light, times the bands of
		// the lamps.
		lit, frames := 0.0, 0
		all := make([]float64, 3*v.width)
		for frame := 3; frame < plateFrames; frame += 5 {
			frames++
			for y := range v.height {
				v.row(world, &quayLamp{}, frame, y, v.rows[y], all)
				var sum, lamps float64
				for x, sees := range v.rows[y] {
					sum += all[3*x+1]
					lamps += sees.open * v.electrons[1] * lampTint[1]
				}
				lit += lamps / sum / float64(v.height)
			}
		}
		assert.InEpsilon(t, p.Worst().Depth*lit/float64(frames), v.bandDepth(world, &quayLamp{}), 0.01, "other frames, and bands in the light of a row")
		bands, ok := p.Bands(0)
		require.True(t, ok)
		assert.InEpsilon(t, 1/(800*rowTime), bands[0].Spacing, 1e-9)
	}
}

// A camera that opens late is found late by its trace, and one that does not is not.
func TestOffsetIsInTheFrames(t *testing.T) {
	world, err := demoWorld()
	require.NoError(t, err)
	s := tiny(160)
	record := func(name string, late float64) (tr trace.Trace) {
		v, _ := demoCamera(t, &s, name, rig.Spec{})
		v.offset = late
		out := make([]float64, 3*v.width)
		tr.Rate = s.Rate
		for frame := range plateFrames {
			sum := 0.0
			for y := range v.height {
				v.row(world, &quayLamp{}, frame, y, v.rows[y], out)
				for x := range v.width {
					sum += out[3*x+1]
				}
			}
			tr.Values = append(tr.Values, sum/v.fullWell/float64(v.width*v.height))
		}
		return tr
	}
	sky := record("sky", 0)
	for name, late := range map[string]float64{"port": 3.2e-3, "starboard": 0, "stern": 0} {
		o, err := trace.MeasureOffset(sky, record(name, late))
		require.NoError(t, err)
		assert.InDelta(t, late, float64(o.Time), 5e-4, "the vessel's motion changes the means as well; %s", name)
	}
}

// The radar dome hides from each camera the cone that its radius subtends from there.
func TestVesselHidesWhatIsBehindIt(t *testing.T) {
	s := tiny(160)
	dome := vessel.Balls[0]
	for name, eye := range map[string]r3.Vec{"stern": {Y: 4.2, Z: 0.16}, "starboard": {X: 0.16, Y: 4.2}} {
		v, _ := demoCamera(t, &s, name, rig.Spec{Balls: vessel.Balls})
		way := r3.Sub(dome.Centre, eye)
		most := math.Asin(float64(dome.Radius) / r3.Norm(way))
		hidden := 0
		for _, row := range v.rows {
			for _, p := range row {
				if p.open+p.hidden == 0 {
					continue
				}
				away := math.Atan2(r3.Norm(r3.Cross(way, p.dir)), r3.Dot(way, p.dir))
				switch {
				case away < most-v.photositeRad:
					require.InDelta(t, 0, p.open, 1e-12)
					hidden++
				case away > most+v.photositeRad:
					require.InDelta(t, 0, p.hidden, 1e-12)
				}
			}
		}
		assert.Greater(t, hidden, 10, name)
	}
}

// An emitter's light is neither made nor lost, in focus and out of it.
func TestFootprintKeepsTheLight(t *testing.T) {
	across, down := r2.Vec{X: 1.2, Y: 0.1}, r2.Vec{X: -0.1, Y: 1.2}
	for _, blur := range []float64{0, 2.5} {
		p := newFootprint(across, down, 0.5, blur, 0.2)
		const side, places = 21, 12
		var sum, x, y float64 // the mean of all places within a photosite
		for k := range places * places {
			at := r2.Vec{X: 10 + (float64(k%places)+0.5)/places, Y: 10 + (float64(k/places)+0.5)/places}
			picture := make([]float32, side*side)
			p.add(picture, side, side, at)
			for i, v := range picture {
				sum += float64(v) / places / places
				x += float64(v) * (float64(i%side) + 0.5 - at.X)
				y += float64(v) * (float64(i/side) + 0.5 - at.Y)
			}
		}
		assert.InEpsilon(t, 0.25*r2.Cross(across, down), sum, 3e-3, "the lit area, in photosites; blur %g", blur)
		assert.InDelta(t, 0, x/sum/places/places, 2e-3, "blur %g", blur)
		assert.InDelta(t, 0, y/sum/places/places, 2e-3, "blur %g", blur)
	}
}

// The picture of the wall has the alias that package alias predicts, with what package
// transfer leaves of its contrast.
func TestAliasOfTheWall(t *testing.T) {
	numbers.NumbersOnly(t)
	s := demoScenario(true)
	spec := &s.Cameras[5]
	roll := spec.Place.RollDeg * math.Pi / 180
	sin, cos := math.Sincos(roll)
	// A camera that rolls clockwise sees the wall turned counterclockwise, with y down.
	grid := wall.Grid{Across: r2.Vec{X: 1.2 * cos, Y: -1.2 * sin}, Down: r2.Vec{X: 1.2 * sin, Y: 1.2 * cos}}
	for _, focus := range []float64{2.5, spec.Lens.FocusM} {
		v, err := newWallView(&s, spec, focus)
		require.NoError(t, err)
		discMm := 25. / 8 * 25 / (1000*focus - 25) * math.Abs(2500-1000*focus) / 2500
		want, err := alias.Predict(alias.Spec{
			Grid: grid, Emitters: alias.Emitters{Width: 0.5, Height: 0.5}, Photosites: alias.Photosites{Width: 1}, Order: 1,
			Transfer: func(nu r2.Vec) float64 {
				perMm := r2.Norm(nu) / 0.01
				diffraction, _ := transfer.DiffractionOTF(perMm, 550e-9, 8)
				x := math.Pi * discMm * perMm
				if x < 1e-6 {
					return diffraction
				}
				return diffraction * 2 * math.J1(x) / x
			},
		})
		require.NoError(t, err)
		for _, w := range want[:2] {
			found := false
			for _, f := range v.aliases {
				found = found || r2.Norm(r2.Sub(f, w.Frequency)) < 1e-4 || r2.Norm(r2.Add(f, w.Frequency)) < 1e-4
			}
			assert.True(t, found, "%v is not among %v", w.Frequency, v.aliases)
		}
		assert.InDelta(t, want[0].Contrast, v.aliasContrast(), 0.01*want[0].Contrast+5e-4, "the footprint's table; focus %g m", focus)
	}
}

// The wall's scan bands are those that package banding predicts, from the delays of
// groups and how much a row sees of each.
func TestBandsOfTheWall(t *testing.T) {
	numbers.NumbersOnly(t)
	s := demoScenario(true)
	spec := &s.Cameras[5]
	v, err := newWallView(&s, spec, spec.Lens.FocusM)
	require.NoError(t, err)
	v.exposure = roundTime
	pulse, err := banding.Pulse(0.35)
	require.NoError(t, err)
	turns, err := banding.InOrder(8)
	require.NoError(t, err)
	rows := v.height
	// The disc of the focus, seen from its side, over the width of a row; in wall rows.
	disc, row := 25./8*25/(1000*spec.Lens.FocusM-25)*(2500-1000*spec.Lens.FocusM)/2500/0.01/1.2, 1/1.2
	blur := disc + row
	kernel := make([]float64, 60)
	for i := range kernel {
		at := ((float64(i)+0.5)/60 - 0.5) * blur
		for k := range 100 {
			if u := (at + ((float64(k)+0.5)/100-0.5)*row) / (disc / 2); math.Abs(u) < 1 {
				kernel[i] += math.Sqrt(1 - u*u)
			}
		}
	}
	b := banding.Spec{
		Wall:   banding.Wall{Rate: s.Wall.Refresh, Greys: []banding.Waveform{pulse}, Turns: turns},
		View:   banding.View{WallRowsPerCameraRow: 1 / 1.2, Blur: blur, Kernel: kernel},
		Camera: timing.ReadoutSpec{Rate: s.Rate, Rows: rows, Phase: timing.Leading},
	}
	b.Camera.Exposure, err = timing.NewSeconds(1, 250)
	require.NoError(t, err)
	b.Camera.RowTime, err = timing.NewSeconds(40, 1e6)
	require.NoError(t, err)
	p, err := banding.New(b)
	require.NoError(t, err)
	assert.InDelta(t, p.Worst().Depth, v.bandDepth(), 0.02*p.Worst().Depth, "the blur over 7 wall rows takes a little")
	bands, ok := p.Bands(0)
	require.True(t, ok)

	// Rows of a frame over those of four, whose phases are a quarter apart.
	out := make([]float64, v.width)
	var frames [4][]float64
	for frame := range frames {
		for y := range rows {
			v.row(frame, y, out)
			frames[frame] = append(frames[frame], floats.Sum(out))
		}
	}
	ratio := make([]float64, rows)
	for y := range ratio {
		ratio[y] = 4 * frames[0][y] / (frames[0][y] + frames[1][y] + frames[2][y] + frames[3][y])
	}
	m, err := banding.MeasureBands(ratio)
	require.NoError(t, err)
	assert.InDelta(t, bands[0].Spacing, m.Spacing, 3*m.SpacingError+0.05)
	// A frame meets a phase a row, and so less than the extremes of all phases.
	depth := (floats.Max(ratio) - floats.Min(ratio)) / (floats.Max(ratio) + floats.Min(ratio))
	assert.InDelta(t, depth, m.Depth, m.DepthError)
	assert.InDelta(t, 0.92*v.bandDepth(), depth, 0.08*v.bandDepth())

	v.exposure = 7. / 1890
	assert.Less(t, v.bandDepth(), 1e-6, "seven refreshes")
}

// A recorder that writes a frame twice gives the same samples, noise included, and goes
// on with the frames that are on time.
func TestRepeatedFrame(t *testing.T) {
	world, err := demoWorld()
	require.NoError(t, err)
	s := tiny(60)
	v, spec := demoCamera(t, &s, "bow", rig.Spec{})
	read := func(repeated int) (all [][]byte) {
		r := recording{folder: t.TempDir(), name: "bow", spec: spec, seed: 5, repeated: repeated}
		require.NoError(t, r.write(t.Context(), 4, v.fullWell, v.readNoise, func(frame, y int, out []float64) {
			v.row(world, &quayLamp{}, frame, y, v.rows[y], out)
		}))
		for i := range 4 {
			f, err := os.Open(filepath.Join(r.folder, fmt.Sprintf("bow-%04d.png", i+1)))
			require.NoError(t, err)
			img, err := png.Decode(f)
			require.NoError(t, err)
			require.NoError(t, f.Close())
			all = append(all, img.(*image.RGBA64).Pix)
		}
		return all
	}
	clean, faulty := read(-1), read(2)
	assert.Equal(t, clean, read(-1), "same seed, same frames")
	assert.Equal(t, faulty[1], faulty[2])
	assert.NotEqual(t, clean[1], clean[2])
	for _, i := range []int{0, 1, 3} {
		assert.Equal(t, clean[i], faulty[i], "frame %d", i)
	}
}

// Eight plates of 12288 × 6480 px of a ring of cameras, with the noise of a camera: a
// frame each, in eight folders, for a test of speed.
func TestBigPlates(t *testing.T) {
	if *bigFolder == "" {
		t.Skip("writes 3 GB, with -args -big FOLDER")
	}
	s := demoScenario(false)
	world, err := newSphere(t.Context(), 1536)
	require.NoError(t, err)
	var cameras []cameraSpec
	for i := range 8 {
		c := s.Cameras[0]
		c.Name = fmt.Sprintf("camera%d", i+1)
		c.Format.Columns, c.Format.Rows, c.Format.HeightMm = 12288, 6480, 19.44
		c.RowTimeUs = 8500. / 6480
		c.Photosite = &photositeSpec{FullWellE: 9000, ReadNoiseE: 2.2}
		c.Place = &placeSpec{HeadingDeg: 45 * float64(i)}
		cameras = append(cameras, c)
	}
	s.Cameras = cameras
	require.NoError(t, os.MkdirAll(*bigFolder, 0o777))
	require.NoError(t, writeScenario(filepath.Join(*bigFolder, "scenario.json"), &s))
	parallel.For(parallel.Workers(), len(cameras), func(_, i int) {
		c := &s.Cameras[i]
		v, err := newPlateView(&s, c, rig.Spec{})
		if !assert.NoError(t, err) {
			return
		}
		e := 0.7 * v.fullWell // exposed as the small cameras
		v.electrons = rgb{e, e, e}
		folder := filepath.Join(*bigFolder, c.Name)
		if !assert.NoError(t, os.MkdirAll(folder, 0o777)) {
			return
		}
		f, err := os.Create(filepath.Join(folder, c.Name+"-0001.png"))
		if !assert.NoError(t, err) {
			return
		}
		r, k := rand.New(rand.NewPCG(1, uint64(i))), newConverter(v.fullWell, v.readNoise)
		sights, electrons := make([]sight, v.width), make([]float64, 3*v.width)
		assert.NoError(t, pngrows.Encode(f, v.width, v.height, 16, zlib.HuffmanOnly, func(out []byte, y int) error {
			v.sightsOf(y, sights)
			v.row(world, &quayLamp{}, 0, y, sights, electrons)
			for j, e := range electrons {
				code := k.code(r, e)
				out[2*j], out[2*j+1] = byte(code>>8), byte(code)
			}
			return nil
		}))
		assert.NoError(t, f.Close())
	})
}

// sightsOf finds what a row of a large raster sees: every 16th photosite, and those
// between two in the picture by interpolation.
func (v *plateView) sightsOf(y int, sights []sight) {
	const step = 16
	sights[0] = v.sight(0.5, float64(y)+0.5)
	for x := step; x < v.width; x += step {
		a, b := sights[x-step], v.sight(float64(x)+0.5, float64(y)+0.5)
		for i := 1; i <= step; i++ {
			t := float64(i) / step
			if a.open > 0 && b.open > 0 {
				sights[x-step+i] = sight{dir: r3.Add(r3.Scale(1-t, a.dir), r3.Scale(t, b.dir)), open: a.open + (b.open-a.open)*t}
			} else {
				sights[x-step+i] = v.sight(float64(x-step+i)+0.5, float64(y)+0.5)
			}
		}
	}
	for x := (v.width - 1) / step * step; x < v.width; x++ {
		sights[x] = v.sight(float64(x)+0.5, float64(y)+0.5)
	}
}
