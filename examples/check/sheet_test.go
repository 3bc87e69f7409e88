package main

import (
	"flag"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"testing"

	"example.com/platewright/internal/plane"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var sheetFolder = flag.String("sheets", "", "a folder to write sheets into, to be looked at")

// duskTake is a take of 48 frames of 960 × 508 px of a dim scene.
func duskTake(name string) *take {
	t := &take{Name: name, Shape: shape{960, 508, 3, sixteenBit}, Thumb: small{Width: 480, Height: 254, Factor: 2}}
	for i := range 48 {
		t.Files = append(t.Files, frameFile{Name: fmt.Sprintf("%s-%04d.png", name, 101+i), Number: int64(101 + i), Known: true})
	}
	for k := range 3 {
		p := plane.Plane[float32]{Pix: make([]float32, 480*254), Width: 480, Height: 254}
		for y := range 254 {
			for x := range 480 {
				r := math.Hypot(float64(x-240), float64(y-127)) / 240
				if r < 0.95 {
					p.Pix[y*480+x] = float32((0.12 + 0.08*float64(k)*float64(254-y)/254 + 0.05*math.Sin(float64(x)/9)*math.Cos(float64(y)/13)) * (1 - r/2))
				}
			}
		}
		t.Thumb.Channels = append(t.Thumb.Channels, p)
	}
	return t
}

// stripes is a part of a frame with stripes of a period of 6 px.
func stripes() small {
	s := small{Width: 128, Height: 128, Factor: 1}
	p := plane.Plane[float32]{Pix: make([]float32, 128*128), Width: 128, Height: 128}
	for i := range p.Pix {
		p.Pix[i] = float32(0.3 + 0.02*math.Cos(2*math.Pi*(0.16*float64(i%128)+0.05*float64(i/128))))
	}
	s.Channels = []plane.Plane[float32]{p}
	return s
}

// everyMark has a finding of each kind.
func everyMark(camera, other string) []finding {
	at := func(first, last int) *span { return &span{first, last, "", ""} }
	var shifts []shiftMark
	for i := range 12 {
		shifts = append(shifts, shiftMark{820 + 3*float64(i%4), 40 + 36*float64(i), 1.8, -0.7})
	}
	return []finding{
		{Question: asksLevels, Verdict: over, What: "clipped", Camera: camera, Channel: "red", Value: ptr(0.21), Unit: "%", Limit: ptr(0.02),
			draw: drawing{Areas: []region{{400, 200, 8, 8}, {220, 260, 90, 40}}}},
		{Question: asksLevels, Verdict: over, What: "crushed", Camera: camera, Channel: "blue", Value: ptr(1.21), Unit: "%", Limit: ptr(0.5),
			draw: drawing{Areas: []region{{500, 380, 200, 70}}}},
		{Question: asksExposure, Verdict: over, What: "exposure", Camera: camera, Channel: "green", Value: ptr(-0.334), Uncertainty: ptr(0.004), Unit: "stops", Limit: ptr(0.1)},
		{Question: asksExposure, Verdict: over, What: "tint", Camera: camera, Channel: "blue", Value: ptr(-0.059), Uncertainty: ptr(0.005), Unit: "stops", Limit: ptr(0.03)},
		{Question: asksDefects, Verdict: over, What: "defects", Camera: camera, Value: ptr(3.), Unit: "photosites", Limit: ptr(0.), draw: drawing{Areas: []region{{100, 100, 1, 1}, {700, 150, 1, 1}, {640, 330, 1, 1}}}},
		{Question: asksSeams, Verdict: over, What: "seam", Camera: camera, Other: other, Value: ptr(1.9), Uncertainty: ptr(0.1), Unit: "px", Limit: ptr(1.),
			Why: "turning port by +0.051° ± 0.003 in heading, −0.012° ± 0.003 in elevation, +0.001° ± 0.020 in roll leaves 0.3 px", draw: drawing{Shifts: shifts}},
		{Question: asksRepeats, Verdict: over, What: "repeated", Camera: camera, Frames: at(17, 17), Value: ptr(1.), Unit: "frames"},
		{Question: asksRepeats, Verdict: over, What: "torn", Camera: camera, Frames: at(30, 30)},
		{Question: asksOffset, Verdict: over, What: "offset", Camera: camera, Value: ptr(3.21), Uncertainty: ptr(0.05), Unit: "ms", Limit: ptr(1.)},
		{Question: asksBands, Verdict: over, What: "lamps", Camera: camera, Value: ptr(1.1), Uncertainty: ptr(0.03), Unit: "%", Limit: ptr(0.3), draw: drawing{Bands: &bandMarks{12, 37.2}}},
		{Question: asksPatterns, Verdict: noted, What: "pattern", Camera: camera, Channel: "green", Value: ptr(4.4), Uncertainty: ptr(0.2), Unit: "%",
			Why: "a period of 5.97 ± 0.01 px, varying along 17°", draw: drawing{Pattern: &patternMark{region{560, 60, 256, 192}, 0.16, 0.05, stripes()}}},
	}
}

// cameras is a result of n cameras. The first has every mark, the second is clean, and
// others have some.
func cameras(n int) *result {
	r := &result{Name: "Ferry, harbour at dusk, take 12", Caution: "A flashing light can harm people who are photosensitive: do not play a take that flashes."}
	names := []string{"bow", "sky", "stern", "port", "starboard", "port quarter", "starboard quarter", "mast"}
	for i := range n {
		name := names[i%len(names)]
		if i >= len(names) {
			name = fmt.Sprintf("%s %d", name, i/len(names)+1)
		}
		r.takes = append(r.takes, duskTake(name))
		r.Cameras = append(r.Cameras, answer{Camera: name, Frames: 48})
		all := everyMark(name, names[(i+1)%len(names)])
		switch i {
		case 0:
			r.Findings = append(r.Findings, all...)
		case 1:
			r.Findings = append(r.Findings, finding{Question: asksLevels, Verdict: within, What: "clipped", Camera: name})
		case 2:
			r.Findings = append(r.Findings, finding{Question: asksSeams, Verdict: notShown, What: "seam", Camera: name, Why: "no two plates overlap"})
		default:
			r.Findings = append(r.Findings, all[i%len(all)], all[(i+7)%len(all)])
		}
	}
	return r
}

// counted is how many pixels of a sheet have a colour.
func counted(img image.Image, c color.RGBA, within image.Rectangle) (n int) {
	for y := within.Min.Y; y < within.Max.Y; y++ {
		for x := within.Min.X; x < within.Max.X; x++ {
			if img.(*image.RGBA).RGBAAt(x, y) == c {
				n++
			}
		}
	}
	return n
}

func TestSheets(t *testing.T) {
	if *sheetFolder == "" {
		t.Skip("-sheets names no folder")
	}
	for _, n := range []int{1, 2, 5, 8, 12} {
		img, err := drawSheet(t.Context(), cameras(n))
		require.NoError(t, err)
		f, err := os.Create(filepath.Join(*sheetFolder, fmt.Sprintf("sheet-%d.png", n)))
		require.NoError(t, err)
		require.NoError(t, png.Encode(f, img))
		require.NoError(t, f.Close())
	}
}

var _ = assert.Equal
