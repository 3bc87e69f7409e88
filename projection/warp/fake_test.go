package warp_test

import (
	"context"
	"math"
	"testing"

	"example.com/platewright/internal/orient"
	"example.com/platewright/projection/warp"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

type vec = r3.Vec

const degree unit.Angle = math.Pi / 180

// plane is a flat raster whose position (x, y) is the direction (x, y, 1), so
// that between two planes the map is what the affine fields say, exactly.
type plane struct {
	w, h       int
	xx, xy, x0 float64 // dir.X = xx·x + xy·y + x0
	yx, yy, y0 float64
	breaksX    []float64
	hostile    func(x, y float64) (float64, float64, bool)
	wrap       bool
	noPoles    bool // of what wraps
}

func flat(w, h int) *plane { return &plane{w: w, h: h, xx: 1, yy: 1} }

func (p *plane) Size() (int, int) { return p.w, p.h }
func (p *plane) Unproject(x, y float64) (r3.Vec, bool) {
	return r3.Vec{X: p.xx*x + p.xy*y + p.x0, Y: p.yx*x + p.yy*y + p.y0, Z: 1}, true
}
func (p *plane) Breaks() (xs, ys []float64) { return p.breaksX, nil }
func (p *plane) WrapX() bool                { return p.wrap }
func (p *plane) WrapY() bool                { return p.wrap && !p.noPoles }

// Project has no inverse of the affine part: it serves sources made by flat.
func (p *plane) Project(d r3.Vec) (x, y float64, ok bool) {
	if p.hostile != nil {
		return p.hostile(d.X, d.Y)
	}
	if p.wrap {
		return d.X, d.Y, d.Y >= 0 && d.Y <= float64(p.h)
	}
	return d.X, d.Y, d.X >= 0 && d.Y >= 0 && d.X <= float64(p.w) && d.Y <= float64(p.h)
}

// fisheye is an equidistant camera, r = f·θ, with the principal point in the
// middle.
type fisheye struct {
	w, h  int
	focal float64 // px a radian
	limit float64 // largest θ, radians
	axes  orient.Axes
}

func newFisheye(side int, field, heading, elevation unit.Angle) fisheye {
	return fisheye{w: side, h: side, focal: float64(side) / float64(field), limit: float64(field) / 2,
		axes: orient.FromAngles(heading, elevation, 0)}
}

func (c fisheye) Size() (int, int) { return c.w, c.h }
func (c fisheye) Project(d r3.Vec) (x, y float64, ok bool) {
	v := c.axes.FromStage(d)
	r := math.Hypot(v.X, v.Y)
	theta := math.Atan2(r, -v.Z)
	if !(theta <= c.limit) {
		return 0, 0, false
	}
	k := c.focal
	if r > 0 {
		k = c.focal * theta / r
	}
	x, y = float64(c.w)/2+k*v.X, float64(c.h)/2-k*v.Y
	return x, y, x >= 0 && y >= 0 && x <= float64(c.w) && y <= float64(c.h)
}
func (c fisheye) Margin(x, y float64) float64 {
	r := math.Hypot(x-float64(c.w)/2, y-float64(c.h)/2)
	return math.Min(c.focal*c.limit-r, math.Min(math.Min(x, float64(c.w)-x), math.Min(y, float64(c.h)-y)))
}

// view is a rectilinear camera.
type view struct {
	w, h  int
	focal float64 // px
	axes  orient.Axes
}

func newView(w, h int, field, heading, elevation, roll unit.Angle) view {
	return view{w: w, h: h, focal: float64(w) / 2 / math.Tan(float64(field)/2), axes: orient.FromAngles(heading, elevation, roll)}
}

func (v view) Size() (int, int) { return v.w, v.h }
func (v view) Unproject(x, y float64) (r3.Vec, bool) {
	return v.axes.ToStage(r3.Vec{X: x - float64(v.w)/2, Y: float64(v.h)/2 - y, Z: -v.focal}), true
}
func (v view) Project(d r3.Vec) (x, y float64, ok bool) {
	b := v.axes.FromStage(d)
	if !(b.Z < 0) {
		return 0, 0, false
	}
	x, y = float64(v.w)/2-v.focal*b.X/b.Z, float64(v.h)/2+v.focal*b.Y/b.Z
	return x, y, x >= 0 && y >= 0 && x <= float64(v.w) && y <= float64(v.h)
}

// equirect is a panorama, heading 0 in the middle column, +shift columns.
type equirect struct{ w, h, shift int }

func (p equirect) Size() (int, int) { return p.w, p.h }
func (p equirect) WrapX() bool      { return true }
func (p equirect) WrapY() bool      { return true }
func (p equirect) Project(d r3.Vec) (x, y float64, ok bool) {
	heading := math.Atan2(d.X, -d.Z)
	elevation := math.Atan2(d.Y, math.Hypot(d.X, d.Z))
	x = (heading/(2*math.Pi)+0.5)*float64(p.w) + float64(p.shift)
	x -= float64(p.w) * math.Floor(x/float64(p.w))
	return x, (0.5 - elevation/math.Pi) * float64(p.h), true
}
func (p equirect) Unproject(x, y float64) (r3.Vec, bool) {
	sh, ch := math.Sincos(((x-float64(p.shift))/float64(p.w) - 0.5) * 2 * math.Pi)
	se, ce := math.Sincos((0.5 - y/float64(p.h)) * math.Pi)
	return r3.Vec{X: sh * ce, Y: se, Z: -ch * ce}, true
}

var noContext context.Context

func newMap(t testing.TB, target warp.Target, source warp.Source) *warp.Map {
	t.Helper()
	m, err := warp.NewMap(t.Context(), target, source, warp.MapOptions{})
	require.NoError(t, err)
	return m
}

func newFrame[T warp.Sample](t testing.TB, w, h, ch int) warp.Frame[T] {
	t.Helper()
	f, err := warp.NewFrame(warp.FrameSpec[T]{Width: w, Height: h, Channels: ch})
	require.NoError(t, err)
	return f
}

// paint fills a frame from a function of the pixel.
func paint[T warp.Sample](f warp.Frame[T], value func(x, y, c int) float64) {
	w, h := f.Size()
	ch := f.Channels()
	for y := range h {
		row := f.Row(y)
		for x := range w {
			for c := range ch {
				row[x*ch+c] = T(value(x, y, c))
			}
		}
	}
}

// turned is a plane that shows a flat source minified by scale and turned by
// angle, with its middle at (cx, cy).
func turned(w, h int, scale, angle, cx, cy float64) *plane {
	p := flat(w, h)
	s, c := math.Sincos(angle)
	p.xx, p.xy, p.yx, p.yy = scale*c, -scale*s, scale*s, scale*c
	p.x0 = cx - p.xx*float64(w)/2 - p.xy*float64(h)/2
	p.y0 = cy - p.yx*float64(w)/2 - p.yy*float64(h)/2
	return p
}
