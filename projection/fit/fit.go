package fit

import (
	"errors"
	"math"
	"strconv"

	"example.com/platewright/internal/estimate"
	"example.com/platewright/internal/plane"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/spatial/r3"
)

// ErrInvalid is wrapped by every error of this package.
var ErrInvalid = errors.New("fit: invalid value")

func newChecker() *valid.Checker { return valid.New("fit", ErrInvalid) }

// Sample is a type of samples.
type Sample = plane.Sample

// Plane is one channel of a picture: Width × Height samples in Pix. Row y begins at
// y · Stride, and samples of a row are Step apart. Zero means Width · Step for Stride
// and 1 for Step. Samples are not copied.
type Plane[T Sample] = plane.Plane[T]

// Estimate is a measured value. Uncertainty is its standard uncertainty: one standard
// deviation.
type Estimate = estimate.Estimate

// Camera is a camera as it is believed to stand. A projection.Camera is one, and so is a
// panorama. Project takes a direction of any length but 0, and Unproject gives one of
// length 1.
type Camera interface {
	Size() (width, height int)
	Project(dir r3.Vec) (x, y float64, ok bool)
	Unproject(x, y float64) (dir r3.Vec, ok bool)
}

// Plate is one frame of one camera. Its samples are proportional to light above Black.
type Plate[T Sample] struct {
	Camera Camera
	// Channels are of the camera's size. All plates of a rig have them in the same order.
	Channels []Plane[T]
	// Falloff gives the light at a raster position relative to that on the axis, above 0 to
	// 1; nil means 1 everywhere. Places where it gives anything else are left out.
	Falloff func(x, y float64) float64
	// Black is the sample of no light.
	Black float64
	// White is the sample from which on light is clipped; 0 means the largest whole number,
	// or 1 for float32.
	White float64
}

const mostChannels = 16

// check adds the faults of a plate and sets its defaults.
func (p *Plate[T]) check(c *valid.Checker, name string) {
	if valid.Absent(p.Camera) {
		c.Unset(name + ": camera")
		return
	}
	if p.White == 0 {
		p.White = plane.FullScale[T]()
	}
	samples := valid.Closed(-math.MaxFloat32, math.MaxFloat32)
	c.Number(name+": white", p.White, "", samples)
	c.Number(name+": black", p.Black, "", samples)
	if c.OK() && p.Black >= p.White {
		c.Fault(name+": black", strconv.FormatFloat(p.Black, 'g', 6, 64), "must be less than white, %v", p.White)
	}
	c.Int(name+": channels", len(p.Channels), "", 1, mostChannels)
	width, height := p.Camera.Size()
	for _, ch := range p.Channels {
		ch.Check(c, name+": channel", leastSide)
		if c.OK() && (ch.Width != width || ch.Height != height) {
			n := strconv.Itoa
			c.Fault(name+": channel", n(ch.Width)+" × "+n(ch.Height)+" px", "must be of the camera's size, %s × %s px", n(width), n(height))
		}
	}
}

const leastSide = 16 // px, of a plate

// position is where a plate shows a direction. ok is false beside the centres of its
// outermost pixels.
func (p *Plate[T]) position(dir r3.Vec) (x, y float64, ok bool) {
	x, y, ok = p.Camera.Project(dir)
	w, h := float64(p.Channels[0].Width), float64(p.Channels[0].Height)
	return x, y, ok && x >= 0.5 && y >= 0.5 && x <= w-0.5 && y <= h-0.5
}

// light puts the light of a direction into out, one number for each channel, by bilinear
// interpolation. ok is false where the plate does not show it, or shows it clipped.
func (p *Plate[T]) light(dir r3.Vec, channels []Plane[T], out []float64) (ok bool) {
	x, y, ok := p.position(dir)
	if !ok {
		return false
	}
	gain := 1.0
	if p.Falloff != nil {
		falloff := p.Falloff(x, y)
		if !(falloff > 0 && falloff <= 1) {
			return false
		}
		gain = 1 / falloff
	}
	i := min(int(x-0.5), channels[0].Width-2)
	j := min(int(y-0.5), channels[0].Height-2)
	fx, fy := x-0.5-float64(i), y-0.5-float64(j)
	for n, ch := range channels {
		upper, step := ch.Row(j)
		lower, _ := ch.Row(j + 1)
		at := i * step
		a, b := float64(upper[at]), float64(upper[at+step])
		c, d := float64(lower[at]), float64(lower[at+step])
		// NaN fails as well.
		if !(a < p.White && b < p.White && c < p.White && d < p.White) {
			return false
		}
		v := (a*(1-fx)+b*fx)*(1-fy) + (c*(1-fx)+d*fx)*fy
		out[n] = (v - p.Black) * gain
	}
	return true
}

// tangent is a place on the sphere with the steps that lead to the next column and the
// next row of a camera there.
type tangent struct{ dir, across, down r3.Vec }

// at is the direction u columns and v rows from the place.
func (t tangent) at(u, v float64) r3.Vec {
	return r3.Add(t.dir, r3.Add(r3.Scale(u, t.across), r3.Scale(v, t.down)))
}

// shift is the inverse of at for a small vector along the sphere: what combination of
// steps it is.
func (t tangent) shift(d r3.Vec) (u, v float64) {
	aa, ad, dd := r3.Dot(t.across, t.across), r3.Dot(t.across, t.down), r3.Dot(t.down, t.down)
	a, b := r3.Dot(t.across, d), r3.Dot(t.down, d)
	det := aa*dd - ad*ad
	return (a*dd - b*ad) / det, (b*aa - a*ad) / det
}

// tangentAt is the place that a camera shows at a raster position. ok is false if it shows
// none, or where a pixel is no parallelogram worth the name.
func tangentAt(c Camera, x, y float64) (t tangent, ok bool) {
	dir, ok := c.Unproject(x, y)
	left, ok1 := c.Unproject(x-0.5, y)
	right, ok2 := c.Unproject(x+0.5, y)
	up, ok3 := c.Unproject(x, y-0.5)
	down, ok4 := c.Unproject(x, y+0.5)
	if !(ok && ok1 && ok2 && ok3 && ok4) {
		return tangent{}, false
	}
	t = tangent{dir, r3.Sub(right, left), r3.Sub(down, up)}
	area := r3.Norm(r3.Cross(t.across, t.down))
	longest := math.Max(r3.Norm(t.across), r3.Norm(t.down))
	return t, math.Abs(r3.Norm(dir)-1) < 1e-6 && area > 0.05*longest*longest && longest < 0.2
}

// grid calls visit for places some step px apart of a camera's raster, with the column and
// the row of the grid.
func grid(c Camera, step int, visit func(t tangent, column, row int)) {
	width, height := c.Size()
	for row := 0; row*step+step/2 < height; row++ {
		for column := 0; column*step+step/2 < width; column++ {
			if t, ok := tangentAt(c, float64(column*step+step/2), float64(row*step+step/2)); ok {
				visit(t, column, row)
			}
		}
	}
}

// gridStep is the distance of places in px: least, or more where that would be more than
// so many places along the longer side.
func gridStep(c Camera, least, most int) int {
	width, height := c.Size()
	return max(least, (max(width, height)+most-1)/most)
}
