package main

import (
	"context"
	"errors"
	"math"
	"path/filepath"
	"time"

	"example.com/platewright/projection"
	"example.com/platewright/projection/panorama"
	"example.com/platewright/projection/warp"
	"gonum.org/v1/gonum/unit"
)

// A panorama of the whole sphere from four fisheyes, whose plates stand
// upright and show layerAcross along their height. One picture stands for all
// four plates.
const (
	panoramaWidth, panoramaHeight = 16384, 8192
	layerWidth, layerHeight       = 6480, 12288
	layerAcross                   = 190 * projection.Degree
	feather                       = 200
	// OpenCV works strip by strip: maps and weights of all rows at once would
	// take gigabytes. One row in every apart is compared.
	stripRows, apart = 64, 16
)

// timeBlend compares panoramas: Blend with four remaps and their weighted sum.
func timeBlend[T warp.Sample](t *timing[T]) error {
	name := t.kind + " panorama"
	if !t.cases.MatchString(name) {
		return nil
	}
	t.frames, t.theirs = nil, nil // room for larger ones
	w, h := panoramaWidth/t.shrink, panoramaHeight/t.shrink
	sphere, err := panorama.NewEquirect(w, h, projection.Pose{})
	if err != nil {
		return err
	}
	width, height := layerWidth/t.shrink, layerHeight/t.shrink
	focal := float64(height) / float64(layerAcross)
	plate, err := warp.NewFrame(warp.FrameSpec[T]{Width: width, Height: height, Channels: channels})
	if err != nil {
		return err
	}
	paintPlate(plate, t.top)
	dst, err := warp.NewFrame(warp.FrameSpec[T]{Width: w, Height: h, Channels: channels})
	if err != nil {
		return err
	}
	var cameras [4]projection.Camera
	for i := range cameras {
		cameras[i], err = projection.NewCamera(projection.CameraSpec{
			Model: projection.Equidistant, FocalX: focal, FocalY: focal, Width: width, Height: height, MaxAngle: layerAcross / 2,
			Pose: projection.Pose{Heading: 90 * projection.Degree * unit.Angle(i)},
		})
		if err != nil {
			return err
		}
	}
	soft := feather / float64(t.shrink)
	layers := make([]warp.Layer[T], len(cameras))
	build := func(workers int) error {
		for i, c := range cameras {
			m, err := warp.NewMap(context.Background(), sphere, c, warp.MapOptions{Workers: workers})
			if err != nil {
				return err
			}
			layers[i] = warp.Layer[T]{Frame: plate, Map: m, Feather: soft}
		}
		return nil
	}
	blend := func(workers int) error {
		return warp.Blend(context.Background(), dst, layers, warp.Options{Filter: warp.Bilinear, Minify: warp.PointSample, Workers: workers})
	}

	if err := writeFrame(filepath.Join(t.folder, "source"), plate); err != nil {
		return err
	}
	if _, err := t.py.ask("source", t.kind, width, height, channels); err != nil {
		return err
	}
	if _, err := t.py.ask("panorama", w, h, len(cameras), focal, float64(layerAcross)/2, soft, max(stripRows/t.shrink, 4)); err != nil {
		return err
	}
	inf := math.Inf(1)
	maps, blends := times{inf, inf, inf, inf}, times{inf, inf, inf, inf}
	made, remapped, summed := inf, inf, inf // theirs
	clock := func(best *float64, do func(workers int) error, workers int) error {
		start := time.Now()
		err := do(workers)
		*best = min(*best, time.Since(start).Seconds())
		return err
	}
	for range (t.rounds + 1) / 2 {
		if err := errors.Join(clock(&maps.one, build, 1), clock(&blends.one, blend, 1), clock(&maps.two, build, 2), clock(&blends.two, blend, 2)); err != nil {
			return err
		}
		if _, err := t.py.ask("blend"); err != nil {
			return err
		}
		for part, best := range map[string]*float64{"made": &made, "remapped": &remapped, "summed": &summed} {
			took, err := t.py.ask("took", part)
			if err != nil {
				return err
			}
			*best = min(*best, took)
		}
	}
	if _, err := t.py.ask("write_joined", apart); err != nil {
		return err
	}
	theirs := make([]T, w*channels*((h+apart-1)/apart))
	if err := read(filepath.Join(t.folder, "out"), theirs); err != nil {
		return err
	}
	var d deviation
	for y := 0; y < h; y += apart {
		for i, v := range dst.Row(y) {
			d.add(math.Abs(float64(v) - float64(theirs[y/apart*w*channels+i])))
		}
	}
	show := func(what string, goal float64, ours times, theirs float64, remark string) {
		ours.theirs = theirs
		printTimes(contest{name: name + what, mpx: float64(w*h) / 1e6, goal: goal}, ours, remark)
	}
	show(", maps and weights", 0, maps, made, "theirs by numpy, strip by strip; our weights are made in Blend")
	show(", four cv remaps", 0, blends, remapped, "theirs without weights")
	show(", remaps and sum", goalSameWork, blends, remapped+summed, d.String()+t.unit+"; maps given to both, weights to theirs")
	show(", all with maps", goalSameWork, times{one: maps.one + blends.one, two: maps.two + blends.two, twin: inf}, made+remapped+summed, "maps, weights, remaps and sum")
	_, err = t.py.ask("forget_frames")
	return err
}
