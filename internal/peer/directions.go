package main

import (
	_ "embed"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"time"

	"example.com/platewright/projection"
	"gonum.org/v1/gonum/spatial/r3"
)

//go:embed directions.py
var directionsScript string

// The calibrations are those published with OpenCV: the fisheye of its test
// test_fisheye.cpp (commit 00cc4aa2) and the left camera of its sample data,
// left_intrinsics.yml (Debian package opencv-doc 4.6.0), whose principal points
// count from the middle of the first pixel.
var (
	fisheyeK = []float64{558.478087865323, 0, 620.458515360843, 0, 560.506767351568, 381.939424848348, 0, 0, 1}
	fisheyeD = []float64{-0.0014613319981768, -0.00329861110580401, 0.00605760088590183, -0.00374209380722371}
	pinholeK = []float64{535.91573396163199, 0, 342.28315473308373, 0, 535.91573396163199, 235.57082909788173, 0, 0, 1}
	pinholeD = []float64{-0.26637260909660682, -0.038588898922304653, 0.0017831947042852964, -0.00028122100441115472, 0.23839153080878486}
)

func camera(k []float64, width, height int, m projection.Model, d projection.Distortion) (projection.Camera, error) {
	return projection.NewCamera(projection.CameraSpec{
		Model: m, Distortion: d, FocalX: k[0], FocalY: k[4], Width: width, Height: height,
		OffsetX: k[2] + 0.5 - float64(width)/2, OffsetY: k[5] + 0.5 - float64(height)/2,
	})
}

// work is a camera, directions, and where they are on its raster.
type work struct {
	c    projection.Camera
	dirs []r3.Vec
	x, y []float64
}

// unproject fills in the directions of the positions and project the other way
// round, until one is not imaged: its index is returned.
func (w work) unproject() int {
	for i := range w.dirs {
		var ok bool
		if w.dirs[i], ok = w.c.Unproject(w.x[i], w.y[i]); !ok {
			return i
		}
	}
	return len(w.dirs)
}

func (w work) project() int {
	for i := range w.dirs {
		var ok bool
		if w.x[i], w.y[i], ok = w.c.Project(w.dirs[i]); !ok {
			return i
		}
	}
	return len(w.dirs)
}

// spread is work over the whole raster, all of it imaged, in an order without
// order.
func spread(c projection.Camera, n int) (work, error) {
	w := work{c: c, dirs: make([]r3.Vec, n), x: make([]float64, n), y: make([]float64, n)}
	width, height := c.Size()
	for i := range n {
		// Two irrational steps cover the unit square evenly.
		w.x[i] = math.Mod(float64(i)*0.7548776662466927, 1) * float64(width)
		w.y[i] = math.Mod(float64(i)*0.5698402909980532, 1) * float64(height)
	}
	if i := w.unproject(); i < n {
		return work{}, fmt.Errorf("no direction at (%v, %v)", w.x[i], w.y[i])
	}
	return w, nil
}

// vision are directions in the frame of computer vision, at the distance 1 ahead.
func vision(dirs []r3.Vec, withZ bool) []float64 {
	var out []float64
	for _, d := range dirs {
		d = projection.VisionAxes(d)
		out = append(out, d.X/d.Z, d.Y/d.Z)
		if withZ {
			out = append(out, 1)
		}
	}
	return out
}

// pixels are positions counted from the middle of the first pixel.
func pixels(x, y []float64) []float64 {
	var out []float64
	for i := range x {
		out = append(out, x[i]-0.5, y[i]-0.5)
	}
	return out
}

// directions times directions <-> raster. OpenCV's projectPoints, called from Python,
// computes the derivatives by its parameters as well, which cannot be left out.
// Its undistortPoints takes five steps, however far they lead; ours ends where
// the answer is right to 1e-12.
func directions(python, folder string, rounds int) (err error) {
	const n = 1 << 13
	polynomial, err := projection.NewOddPolynomial(projection.OddPolynomialSpec{Coefficients: append([]float64{1}, fisheyeD...)})
	if err != nil {
		return err
	}
	distortion, err := projection.NewBrownConrady(projection.BrownConradySpec{K1: pinholeD[0], K2: pinholeD[1], P1: pinholeD[2], P2: pinholeD[3], K3: pinholeD[4]})
	if err != nil {
		return err
	}
	fisheyeCamera, err := camera(fisheyeK, 1280, 800, polynomial, nil)
	if err != nil {
		return err
	}
	pinholeCamera, err := camera(pinholeK, 640, 480, projection.Rectilinear, distortion)
	if err != nil {
		return err
	}
	fisheye, err := spread(fisheyeCamera, n)
	if err != nil {
		return err
	}
	pinhole, err := spread(pinholeCamera, n)
	if err != nil {
		return err
	}

	for name, values := range map[string][]float64{
		"fisheye-k": fisheyeK, "fisheye-d": fisheyeD, "pinhole-k": pinholeK, "pinhole-d": pinholeD,
		"fisheye-plane": vision(fisheye.dirs, false), "fisheye-px": pixels(fisheye.x, fisheye.y),
		"pinhole-dirs": vision(pinhole.dirs, true), "pinhole-px": pixels(pinhole.x, pinhole.y),
	} {
		if err := write(filepath.Join(folder, name), values); err != nil {
			return err
		}
	}
	py, err := startPython(python, directionsScript, folder)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, py.stop()) }()
	fmt.Printf("%d points, one thread, best of %d turns; %s\n", n, rounds, py.version)
	fmt.Printf("%-26s %10s %10s %7s  %s\n", "case", "ours M/s", "its M/s", "ratio", "largest difference")

	for _, c := range []struct {
		name   string
		ours   func() int
		result func() []float64
		unit   string
	}{
		{"fisheye.distortPoints", fisheye.project, func() []float64 { return pixels(fisheye.x, fisheye.y) }, "px"},
		{"fisheye.undistortPoints", fisheye.unproject, func() []float64 { return vision(fisheye.dirs, false) }, "focal lengths"},
		{"projectPoints", pinhole.project, func() []float64 { return pixels(pinhole.x, pinhole.y) }, "px"},
		{"undistortPoints", pinhole.unproject, func() []float64 { return vision(pinhole.dirs, false) }, "focal lengths"},
	} {
		ours, theirs := math.Inf(1), math.Inf(1)
		for range rounds {
			start := time.Now()
			c.ours()
			ours = min(ours, time.Since(start).Seconds())
			took, err := py.ask(c.name)
			if err != nil {
				return err
			}
			theirs = min(theirs, took)
		}
		worst, err := difference(filepath.Join(folder, "out"), c.result())
		if err != nil {
			return err
		}
		fmt.Printf("%-26s %10.1f %10.1f %7.2f  %.2g %s\n", c.name, n/ours/1e6, n/theirs/1e6, theirs/ours, worst, c.unit)
	}
	return nil
}

// difference is the largest between values and a file of them.
func difference(path string, values []float64) (worst float64, err error) {
	theirs := make([]float64, len(values))
	if err := read(path, theirs); err != nil {
		return 0, err
	}
	for i, v := range values {
		worst = max(worst, math.Abs(theirs[i]-v))
	}
	return worst, nil
}
