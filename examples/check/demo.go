package main

import (
	"bytes"
	"compress/zlib"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync/atomic"

	"example.com/platewright/examples/internal/pngrows"
	"example.com/platewright/internal/parallel"
	"example.com/platewright/projection"
	"example.com/platewright/projection/rig"
	timing "example.com/platewright/sync"
	"gonum.org/v1/gonum/spatial/r3"
)

// The demonstration is the ferry's array on a short crossing at dusk, and a witness
// camera before the wall on which the plates will play. Its frames are made from the
// light of the harbour by the physics of cameras, with faults put in by their causes.
// Every photosite records three colours: there is no mosaic.

// demoOptions say what the demonstration writes.
type demoOptions struct {
	Seed  uint64
	Small bool     // for tests
	Put   []string // names of the faults to put in; nil: all
	Clean bool     // no faults
}

// The faults, and what causes them.
const (
	clippedLamp   = "lamp"   // a lamp on the quay is brighter than the bow camera can record
	darkCamera    = "gain"   // the starboard camera's iris is 1/3 stop too small, and its filter takes 4 % of the blue
	repeatedFrame = "repeat" // the recorder of the sky camera wrote a frame once more, and lost the next
	lateCamera    = "late"   // the port camera opens 3.2 ms late
	openShutter   = "bands"  // the stern camera is at the 90° that it was left at, which is not clean for the lamps
	sharpWitness  = "alias"  // the witness camera is focused on the wall, and not before it
	roundShutter  = "scan"   // the witness camera exposes for 1/250 s, no whole number of the wall's refreshes
)

var demoFaults = []string{clippedLamp, darkCamera, repeatedFrame, lateCamera, openShutter, sharpWitness, roundShutter}

// What the faults put in.
const (
	iris       = -1. / 3 // stops
	blueLoss   = 0.96
	lateBy     = 3.2e-3 // s
	openDeg    = 90.
	repeatedAt = 45
	roundTime  = 1. / 250 // s
	lampLight  = 2.4      // of the quay lamp; 0.5 behind its shade
	shadedLamp = 0.5
)

// demoFault is a fault that was put in, with the value that was put in. The finding that
// must name it has the same question, verdict over, what, camera and channel.
type demoFault struct {
	Question question
	What     string
	Camera   string
	Channel  string
	Frame    int // −1: the whole take
	Value    float64
	Unit     string
}

// demoScenario is what was predicted of the demonstration's take. A quick one has fewer
// photosites.
func demoScenario(quick bool) scenario {
	columns, rows, wallColumns, wallRows := 480, 254, 480, 288
	if quick {
		columns, rows, wallColumns, wallRows = 320, 170, 288, 264
	}
	number := func(v float64) *float64 { return &v }
	rate := func(num int64) timing.Rate { r, _ := timing.NewRate(num, 1); return r }
	mains, none := rate(lampRate/2), 0
	s := scenario{
		Note:  "Invented for demonstration: no real vessel, harbour, stage or equipment.",
		Name:  "Ferry wheelhouse, crossing the harbour at dusk",
		Rate:  rate(24),
		Mains: &mains,
		Wall: &wallSpec{
			PanelWidthMm: 600, PanelHeightMm: 450, PanelColumns: 500, PanelRows: 375, Columns: 1, Rows: 1,
			LitSide: 0.5, Refresh: rate(1890), Duty: 0.35, ScanGroups: 8,
		},
		Limits: limitsSpec{
			ClippedPercent: number(0.02), CrushedPercent: number(1), ExposureStops: number(0.1), TintStops: number(0.03), NoiseRatio: number(2),
			Defects: &none, SeamPx: number(0.5), ShakePx: number(5), OffsetMs: number(1), BandPercent: number(0.5), PatternPercent: number(1),
		},
	}
	// The readout takes 8.5 ms whatever the number of rows.
	camera := cameraSpec{
		Kind: plateCamera, Curve: linearCurve, BlackCode: blackCode, WhiteCode: whiteCode, ShutterDeg: 86.4, RowTimeUs: math.Round(8.5e6/float64(rows)) / 1000,
		Format: formatSpec{WidthMm: 36.864, HeightMm: 36.864 * float64(rows) / float64(columns), Columns: columns, Rows: rows},
	}
	for _, c := range []struct {
		name               string
		x, y, z            float64
		heading, elevation float64
	}{
		{"bow", 0, 4.2, -0.16, 0, 0}, {"starboard", 0.16, 4.2, 0, 90, 0}, {"stern", 0, 4.2, 0.16, 180, 0},
		{"port", -0.16, 4.2, 0, 270, 0}, {"sky", 0, 4.45, 0, 0, 90},
	} {
		camera.Name = c.name
		camera.Photosite = &photositeSpec{FullWellE: 1.8e6 * 480 * 480 / float64(columns*columns), ReadNoiseE: 60}
		camera.Lens = &lensSpec{Projection: projection.Equisolid.String(), FocalLengthMm: 12, ImageCircleMm: 34.4, FNumber: 2.8, FocusM: 8.6}
		camera.Place = &placeSpec{PositionM: [3]float64{c.x, c.y, c.z}, HeadingDeg: c.heading, ElevationDeg: c.elevation}
		if c.name == "stern" {
			scale := float64(columns) / 12288
			camera.Lens.Projection = "table"
			camera.Lens.TableDegMm = &[][2]float64{
				{10, 2.094}, {20, 4.174}, {30, 6.224}, {40, 8.228}, {50, 10.168},
				{60, 12.028}, {70, 13.792}, {80, 15.440}, {90, 16.955}, {95, 17.670},
			}
			camera.Lens.CentrePx = &[2]float64{6146.5 * scale, float64(rows)/2 - 2.75*scale}
		}
		s.Cameras = append(s.Cameras, camera)
	}
	s.Cameras = append(s.Cameras, cameraSpec{
		Name: "witness", Kind: witnessCamera, Curve: linearCurve, BlackCode: blackCode, WhiteCode: whiteCode,
		ShutterDeg: 32, RowTimeUs: 40, // 32° are 7 refreshes of the wall
		Format:    formatSpec{WidthMm: 0.01 * float64(wallColumns), HeightMm: 0.01 * float64(wallRows), Columns: wallColumns, Rows: wallRows},
		Photosite: &photositeSpec{FullWellE: 60000, ReadNoiseE: 6},
		Lens:      &lensSpec{Projection: projection.Rectilinear.String(), FocalLengthMm: 25, ImageCircleMm: 12, FNumber: 8, FocusM: 0.86},
		// Over its width the picture turns by one row of the wall.
		Place: &placeSpec{PositionM: [3]float64{0, 0, 2.5}, RollDeg: math.Round(1.2e3/float64(wallColumns)*180/math.Pi) / 1000},
	})
	return s
}

// Frames of a plate camera and of the witness camera.
const (
	plateFrames   = 72
	witnessFrames = 24
)

// vessel is what of the vessel may stand before its cameras.
var vessel = rig.Spec{
	Boxes: []rig.Box{
		{Pose: projection.Pose{Position: r3.Vec{Y: 2.9}}, Width: 0.14, Height: 2.2, Depth: 0.14},
		{Pose: projection.Pose{Position: r3.Vec{Y: 1.7, Z: 1.2}}, Width: 2.6, Height: 0.2, Depth: 4.8},
	},
	Balls: []rig.Ball{{Centre: r3.Vec{Y: 3.7, Z: 1.9}, Radius: 0.35}},
}

// demonstrate writes FOLDER/scenario.json, and the frames of each camera into
// FOLDER/NAME. It gives the faults that it put in.
func demonstrate(ctx context.Context, folder string, opts demoOptions) ([]demoFault, error) {
	put := map[string]bool{}
	if !opts.Clean {
		names := opts.Put
		if names == nil {
			names = demoFaults
		}
		for _, name := range names {
			if !slices.Contains(demoFaults, name) {
				return nil, fmt.Errorf("fault %q: must be %s", name, strings.Join(demoFaults, ", "))
			}
			put[name] = true
		}
	}
	s := demoScenario(opts.Small)
	if err := writeScenario(filepath.Join(folder, "scenario.json"), &s); err != nil {
		return nil, err
	}
	side := 320
	if opts.Small {
		side = 200
	}
	world, err := newSphere(ctx, side)
	if err != nil {
		return nil, err
	}
	var faults []demoFault
	for i := range s.Cameras {
		spec := &s.Cameras[i]
		r := recording{folder: filepath.Join(folder, spec.Name), name: spec.Name, seed: opts.Seed*64 + uint64(i), spec: spec, repeated: -1}
		if err := os.Mkdir(r.folder, 0o777); err != nil {
			return nil, err
		}
		var found []demoFault
		if spec.Kind == witnessCamera {
			found, err = r.witness(ctx, &s, put)
		} else {
			found, err = r.plates(ctx, &s, world, put)
		}
		if err != nil {
			return nil, err
		}
		faults = append(faults, found...)
	}
	return faults, nil
}

// writeScenario writes a scenario as a person would, without the fields that are not set.
func writeScenario(path string, s *scenario) error {
	text, err := json.MarshalIndent(s, "", "  ")
	if err != nil {
		return err
	}
	text = regexp.MustCompile(`\n *"[a-z_]+": null,?`).ReplaceAll(text, nil)
	text = regexp.MustCompile(`,(\n *[}\]])`).ReplaceAll(text, []byte("$1"))
	return os.WriteFile(path, append(bytes.TrimSpace(text), '\n'), 0o666)
}

// recording is the frames of one camera on their way into a folder.
type recording struct {
	folder, name string
	spec         *cameraSpec
	seed         uint64
	repeated     int // the frame that holds the picture of the one before; −1 for none
}

// plates records with a camera of the array.
func (r *recording) plates(ctx context.Context, s *scenario, world *sphere, put map[string]bool) ([]demoFault, error) {
	v, err := newPlateView(s, r.spec, vessel)
	if err != nil {
		return nil, err
	}
	v.look()
	q := quayLamp{dir: projection.Direction(0.5*deg, 3*deg), radius: float64(3 * deg), light: rgb{shadedLamp, shadedLamp, shadedLamp}}
	if put[clippedLamp] {
		q.light = rgb{lampLight, 0.95 * lampLight, 0.9 * lampLight}
	}
	var faults []demoFault
	add := func(f demoFault) {
		f.Camera = r.name
		faults = append(faults, f)
	}
	switch {
	case r.name == "starboard" && put[darkCamera]:
		for c := range v.electrons {
			v.electrons[c] *= math.Exp2(iris)
		}
		v.electrons[2] *= blueLoss
		add(demoFault{Question: asksExposure, What: "exposure", Channel: "green", Frame: -1, Value: iris, Unit: "stops"})
		add(demoFault{Question: asksExposure, What: "tint", Channel: "blue", Frame: -1, Value: math.Log2(blueLoss), Unit: "stops"})
	case r.name == "sky" && put[repeatedFrame]:
		r.repeated = repeatedAt
		add(demoFault{Question: asksRepeats, What: "repeated", Frame: repeatedAt})
	case r.name == "port" && put[lateCamera]:
		v.offset = lateBy
		add(demoFault{Question: asksOffset, What: "offset", Frame: -1, Value: 1000 * lateBy, Unit: "ms"})
	case r.name == "stern" && put[openShutter]:
		for c := range v.electrons {
			v.electrons[c] *= openDeg / r.spec.ShutterDeg
		}
		v.exposure = openDeg / 360 * v.period
		add(demoFault{Question: asksBands, What: "lamps", Frame: -1, Value: 100 * v.bandDepth(world, &q), Unit: "%"})
	}
	var clipped [3]atomic.Int64
	err = r.write(ctx, plateFrames, v.fullWell, v.readNoise, func(frame, y int, out []float64) {
		v.row(world, &q, frame, y, v.rows[y], out)
		for i, e := range out {
			if e >= v.fullWell {
				clipped[i%3].Add(1)
			}
		}
	})
	if r.name == "bow" && put[clippedLamp] {
		samples := float64(plateFrames * v.seen())
		for c, name := range [...]string{"red", "green", "blue"} {
			add(demoFault{Question: asksLevels, What: "clipped", Channel: name, Frame: -1, Value: 100 * float64(clipped[c].Load()) / samples, Unit: "%"})
		}
	}
	return faults, err
}

// witness records the wall.
func (r *recording) witness(ctx context.Context, s *scenario, put map[string]bool) ([]demoFault, error) {
	focus := r.spec.Lens.FocusM
	if put[sharpWitness] {
		focus = r.spec.Place.PositionM[2] - s.Wall.CentreM[2]
	}
	v, err := newWallView(s, r.spec, focus)
	if err != nil {
		return nil, err
	}
	var faults []demoFault
	if put[sharpWitness] {
		faults = append(faults, demoFault{Question: asksPatterns, What: "pattern", Camera: r.name, Channel: "green", Frame: -1, Value: 100 * v.aliasContrast(), Unit: "%"})
	}
	if put[roundShutter] {
		v.exposure = roundTime
		faults = append(faults, demoFault{Question: asksBands, What: "wall", Camera: r.name, Frame: -1, Value: 100 * v.bandDepth(), Unit: "%"})
	}
	grey := func(frame, y int, out []float64) {
		n := len(out) / 3
		v.row(frame, y, out[2*n:])
		for x := range n { // from the left: what is read lies to the right of what is written, or at it
			e := out[2*n+x]
			out[3*x], out[3*x+1], out[3*x+2] = e, e, e
		}
	}
	return faults, r.write(ctx, witnessFrames, r.spec.Photosite.FullWellE, r.spec.Photosite.ReadNoiseE, grey)
}

// write draws the noise of each frame and writes it. row gives the mean electrons of a
// row, three a photosite. Frames are made in parallel, each with a noise of its own.
func (r *recording) write(ctx context.Context, frames int, fullWell, readNoise float64, row func(frame, y int, out []float64)) error {
	k := newConverter(fullWell, readNoise)
	f := r.spec.Format
	failed := make([]error, frames)
	err := parallel.Until(ctx, frames, func(i int) {
		shown := i
		if i == r.repeated {
			shown--
		}
		noise := rand.New(rand.NewPCG(r.seed, uint64(shown)))
		electrons := make([]float64, 3*f.Columns)
		file, err := os.Create(filepath.Join(r.folder, fmt.Sprintf("%s-%04d.png", r.name, i+1)))
		if err != nil {
			failed[i] = err
			return
		}
		err = pngrows.Encode(file, f.Columns, f.Rows, 16, zlib.NoCompression, func(out []byte, y int) error {
			row(shown, y, electrons)
			for j, e := range electrons {
				code := k.code(noise, e)
				out[2*j], out[2*j+1] = byte(code>>8), byte(code)
			}
			return ctx.Err()
		})
		failed[i] = errors.Join(err, file.Close())
	})
	if err != nil {
		return err
	}
	return errors.Join(failed...)
}
