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

	numbers "example.com/platewright/internal/near"
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

// at is the place on the sheet of a pixel of the only camera's frame.
func at(t *testing.T, img image.Image, x, y float64) image.Point {
	t.Helper()
	for py := range img.Bounds().Dy() { // the thumbnail has the first black corner
		if img.(*image.RGBA).RGBAAt(margin+3, py) == black {
			const scale = 1200. / 960
			return image.Pt(int(margin+scale*x), py-3+int(scale*y))
		}
	}
	t.Fatal("no thumbnail")
	return image.Point{}
}

func around(p image.Point, half int) image.Rectangle {
	return image.Rect(p.X-half, p.Y-half, p.X+half, p.Y+half)
}

// alone is a result of one camera with some findings.
func alone(findings ...finding) *result {
	r := &result{Name: "a take", takes: []*take{duskTake("bow")}, Findings: findings}
	for i := range r.Findings {
		r.Findings[i].Camera = "bow"
	}
	return r
}

func sheetOf(t *testing.T, r *result) image.Image {
	t.Helper()
	img, err := drawSheet(t.Context(), r)
	require.NoError(t, err)
	return img
}

// Marks stand where things were found, and nowhere else.
func TestMarksStandInTheirPlaces(t *testing.T) {
	numbers.NumbersOnly(t)
	all := everyMark("bow", "sky")
	for _, tc := range []struct {
		name   string
		f      finding
		c      color.RGBA
		places [][2]float64 // in the frame
		reach  float64      // px of the frame beyond which nothing is drawn
	}{
		{"clipped", all[0], amber, [][2]float64{{404, 204}, {265, 280}, {221, 261}}, 48},
		{"crushed", all[1], sky, [][2]float64{{600, 415}, {501, 381}, {699, 449}}, 110},
		{"bands", all[9], pink, [][2]float64{{959, 12}, {959, 49.2}, {959, 458.4}}, 14},
		{"pattern", finding{Question: asksPatterns, Verdict: over, What: "pattern", draw: drawing{Pattern: &patternMark{Region: region{200, 100, 300, 200}, Across: 0.1, Down: 0.05}}},
			amber, [][2]float64{{201, 101}, {350, 101}, {499, 299}, {350, 200}, {370, 210}}, 160},
	} {
		img := sheetOf(t, alone(tc.f))
		thumb := image.Rectangle{at(t, img, 0, 0), at(t, img, 960, 508)}
		inside := counted(img, tc.c, thumb)
		require.Positive(t, inside, tc.name)
		for _, o := range tc.places {
			assert.Positive(t, counted(img, tc.c, around(at(t, img, o[0], o[1]), 5)), "%s at %v", tc.name, o)
		}
		for _, other := range []color.RGBA{amber, sky, pink} {
			if other != tc.c {
				assert.Zero(t, counted(img, other, thumb), tc.name)
			}
		}
		// Every pixel of that colour lies near one of the places, or in a row of a band.
		near := func(x, y int) bool {
			for _, o := range tc.places {
				p := at(t, img, o[0], o[1])
				d := math.Abs(float64(x - p.X))
				if tc.name != "bands" {
					d = max(d, math.Abs(float64(y-p.Y)))
				}
				if d <= 1.25*tc.reach {
					return true
				}
			}
			return false
		}
		strays := 0
		for y := thumb.Min.Y; y < thumb.Max.Y; y += 3 {
			for x := thumb.Min.X; x < thumb.Max.X; x += 3 {
				if img.(*image.RGBA).RGBAAt(x, y) == tc.c && !near(x, y) {
					strays++
				}
			}
		}
		assert.Zero(t, strays, tc.name)
	}
	// Between two bands there is no tick: the spacing is that of the rows.
	img := sheetOf(t, alone(all[9]))
	assert.Zero(t, counted(img, pink, around(at(t, img, 958, 12+37.2/2), 5)))

	// A stroke begins at the thing and ends at the shift times the factor stated.
	f := finding{Question: asksSeams, Verdict: over, What: "seam", draw: drawing{Shifts: []shiftMark{{300, 250, 3, -1.5}}}}
	img = sheetOf(t, alone(f))
	factor := exaggeration(f.draw.Shifts, 1200./960)
	assert.Equal(t, 5.0, factor, "20 px rather than 42")
	white := color.RGBA{0xff, 0xff, 0xff, 0xff}
	for _, d := range []float64{0, 0.5, 0.85} {
		assert.Positive(t, counted(img, white, around(at(t, img, 300+d*factor*3, 250-d*factor*1.5), 2)), "%g of the way", d)
	}
	assert.Zero(t, counted(img, white, around(at(t, img, 300+1.4*factor*3, 250-1.4*factor*1.5), 3)))
}

// A clean camera has no mark, and nothing is explained that is not there.
func TestCleanSheet(t *testing.T) {
	var l legend
	c := newCell(alone(), duskTake("bow"), 600, 2, &l)
	assert.Equal(t, legend{}, l)
	assert.Len(t, c.blocks, 4, "name, thumbnail, a space, and that nothing was found")
	img := sheetOf(t, alone(finding{Question: asksLevels, Verdict: within, What: "clipped", draw: drawing{Areas: []region{{1, 2, 3, 4}}}}))
	for _, c := range []color.RGBA{amber, sky, pink} {
		assert.Zero(t, counted(img, c, img.Bounds()))
	}
	notes := alone(finding{Question: asksLevels, Verdict: noted, What: "clipped", Value: ptr(0.), Unit: "%", Why: "no limit"},
		finding{Question: asksPatterns, Verdict: noted, What: "pattern", Why: "no periodic pattern stands out"})
	c = newCell(notes, duskTake("bow"), 600, 2, &l)
	assert.Len(t, c.blocks, 4, "notes that there is nothing are left out")
	assert.Equal(t, legend{}, l)
}

// The sign of a difference is the side of the bar or mark.
func TestGaugesShowTheSign(t *testing.T) {
	numbers.NumbersOnly(t)
	for _, unit := range []string{"stops", "ms"} {
		var sides [2]int
		for i, v := range []float64{-0.4, 0.4} {
			question := map[string]question{"stops": asksExposure, "ms": asksOffset}[unit]
			img := sheetOf(t, alone(finding{Question: question, Verdict: over, What: "x", Value: ptr(v), Unit: unit, Limit: ptr(0.1)}))
			below := at(t, img, 0, 508).Y + 12
			middle := margin + 170 + (1200-210)/2
			left := counted(img, ink, image.Rect(margin+180, below, middle-10, below+30))
			right := counted(img, ink, image.Rect(middle+10, below, margin+1200-50, below+30))
			assert.Greater(t, max(left, right), 10*(min(left, right)+1), unit)
			if right > left {
				sides[i] = 1
			}
		}
		assert.Equal(t, [2]int{0, 1}, sides, unit)
	}
}

// Values that no measurement should give, and takes without frames, make a sheet all the
// same.
func TestSheetOfAnything(t *testing.T) {
	numbers.NumbersOnly(t)
	huge := math.MaxFloat64
	r := &result{Name: string(make([]byte, 3000)), takes: []*take{{Name: "no frame"}, duskTake("bow")}}
	r.takes[0].Files = []frameFile{{Name: "x.png"}}
	r.takes[1].Thumb = stripes()
	r.takes[0].Bad = []badFrame{{0, "is empty"}}
	for i, camera := range []string{"no frame", "bow", ""} {
		for q := asksFrames; q <= asksFlashes; q++ {
			for _, v := range []*float64{nil, ptr([]float64{huge, -huge, 1e-300}[i])} {
				r.Findings = append(r.Findings, finding{Question: q, Verdict: noted, What: "anything", Camera: camera, Value: v, Uncertainty: v, Limit: v, Unit: "ms",
					Frames: &span{-5, 1e9, "", ""}, Where: &region{-100, 100, 1e6, 0}, Why: "a very long word: " + string(make([]rune, 500)),
					draw: drawing{Bands: &bandMarks{-1e9, 1e-9}}})
			}
		}
		r.Findings = append(r.Findings,
			finding{Question: asksPatterns, Verdict: over, Camera: camera, draw: drawing{Pattern: &patternMark{Inset: stripes()}}},
			finding{Question: asksSeams, Verdict: over, Camera: camera, draw: drawing{Shifts: []shiftMark{{-1e9, 1e9, 0, 0}}}},
			finding{Question: asksLevels, Verdict: over, Camera: camera, draw: drawing{Areas: []region{{0, 0, 1e9, 1e9}, {5e8, 5e8, 1, 1}}}})
	}
	sheetOf(t, r)
	sheetOf(t, &result{})
}

// The sheet of any number of cameras is at most 4000 px wide.
func TestSheetsAreBounded(t *testing.T) {
	numbers.NumbersOnly(t)
	for _, n := range []int{1, 6, 27, 64} {
		r := &result{Name: "many"}
		for i := range n {
			r.takes = append(r.takes, &take{Name: fmt.Sprint(i)})
		}
		size := sheetOf(t, r).Bounds()
		assert.LessOrEqual(t, size.Dx(), 4000)
		assert.LessOrEqual(t, size.Dy(), 4000, "some 200 px a camera without a frame")
	}
}

// Thumbnails of cameras that differ a little are brightened alike, so that the difference
// stays seen.
func TestBrightening(t *testing.T) {
	dimmed := func(factor float32) *take {
		one := duskTake("bow")
		for _, ch := range one.Thumb.Channels {
			for i := range ch.Pix {
				ch.Pix[i] *= factor
			}
		}
		return one
	}
	takes := []*take{dimmed(1), dimmed(1), dimmed(0.75), dimmed(0.02)}
	common := commonGain(takes)
	assert.Equal(t, 2, common, "0.2 becomes 0.8")
	var gains []int
	for _, one := range takes {
		gains = append(gains, gainOf(one, common))
	}
	assert.Equal(t, []int{2, 2, 2, 7}, gains)
}
