package main

import (
	"errors"
	"math"

	"example.com/platewright/lens"
	"example.com/platewright/projection"
	"example.com/platewright/wall"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// Of the witness camera and the wall, besides what the scenario says.
const (
	wallLevel      = 0.4 // mean light of the even grey in the picture, over saturation, at the scenario's shutter
	wavelengthMm   = 550e-6
	sensitiveWidth = 1.0 // side of the sensitive square of a photosite, over its pitch
)

// wallView is a witness camera before a wall that shows an even grey.
type wallView struct {
	width, height             int
	groups                    [][]float32 // by scan group: what each photosite sees of it, over the mean of all
	falloff                   []float32
	aliases                   []r2.Vec // frequencies at which the rows and the columns of emitters are recorded
	drive                     drive
	exposure, rowTime, period float64
	level                     float64 // electrons of the mean light for a second
}

// newWallView lets the camera of a spec film the wall, focused at a distance in m.
func newWallView(s *scenario, spec *cameraSpec, focusM float64) (*wallView, error) {
	w, l, f := s.Wall, spec.Lens, spec.Format
	surface, err := wall.New(wall.Spec{
		PanelWidth: unit.Length(w.PanelWidthMm) * unit.Milli, PanelHeight: unit.Length(w.PanelHeightMm) * unit.Milli,
		PanelPixelsX: w.PanelColumns, PanelPixelsY: w.PanelRows, Columns: w.Columns, Rows: w.Rows,
		Position: r3.Vec{X: w.CentreM[0], Y: w.CentreM[1], Z: w.CentreM[2]}, Heading: unit.Angle(w.HeadingDeg) * deg,
	})
	if err != nil {
		return nil, err
	}
	focal := unit.Length(l.FocalLengthMm) * unit.Milli
	pitchMm := f.WidthMm / float64(f.Columns)
	camera, err := projection.NewCamera(projection.CameraSpec{
		Model: projection.Rectilinear, FocalLength: focal, Pitch: unit.Length(pitchMm) * unit.Milli, Width: f.Columns, Height: f.Rows,
		Pose: projection.Pose{
			Position: r3.Vec{X: spec.Place.PositionM[0], Y: spec.Place.PositionM[1], Z: spec.Place.PositionM[2]},
			Heading:  unit.Angle(spec.Place.HeadingDeg) * deg, Elevation: unit.Angle(spec.Place.ElevationDeg) * deg, Roll: unit.Angle(spec.Place.RollDeg) * deg,
		},
	})
	if err != nil {
		return nil, err
	}
	optics, err := lens.New(lens.Spec{FocalLength: focal, FNumber: l.FNumber, Model: projection.Rectilinear, ImageCircle: unit.Length(l.ImageCircleMm) * unit.Milli})
	if err != nil {
		return nil, err
	}
	v := &wallView{
		width: f.Columns, height: f.Rows, period: 1 / float64(s.Rate.Frequency()), rowTime: spec.RowTimeUs * 1e-6,
		drive:  drive{rate: float64(w.Refresh.Frequency()), groups: w.ScanGroups, duty: w.Duty},
		groups: make([][]float32, w.ScanGroups), falloff: make([]float32, f.Columns*f.Rows),
	}
	v.exposure = spec.ShutterDeg / 360 * v.period
	v.level = wallLevel * spec.Photosite.FullWellE / v.exposure
	for g := range v.groups {
		v.groups[g] = make([]float32, f.Columns*f.Rows)
	}
	eye := r3.Vec{X: spec.Place.PositionM[0], Y: spec.Place.PositionM[1], Z: spec.Place.PositionM[2]}
	place := func(x, y float64) (r2.Vec, bool) {
		p, ok := surface.Point(x, y)
		px, py, seen := camera.Project(r3.Sub(p, eye))
		return r2.Vec{X: px, Y: py}, ok && seen
	}
	columns, rows := w.PanelColumns*w.Columns, w.PanelRows*w.Rows
	// The wall is flat and seen squarely: all emitters have the same image, which moves.
	middle, ok1 := place(float64(columns)/2, float64(rows)/2)
	right, ok2 := place(float64(columns)/2+1, float64(rows)/2)
	down, ok3 := place(float64(columns)/2, float64(rows)/2+1)
	if !ok1 || !ok2 || !ok3 {
		return nil, errors.New("the witness camera does not look at the middle of the wall")
	}
	// With a and b from emitter to emitter, rows of emitters repeat with the frequency u for
	// which u·a = 1 and u·b = 0. Sampling takes whole cycles a photosite away.
	a, b := r2.Sub(right, middle), r2.Sub(down, middle)
	det := r2.Cross(a, b)
	for _, f := range [...]r2.Vec{{X: b.Y / det, Y: -b.X / det}, {X: -a.Y / det, Y: a.X / det}} {
		v.aliases = append(v.aliases, r2.Vec{X: f.X - math.Round(f.X), Y: f.Y - math.Round(f.Y)})
	}
	distanceMm := 1000 * r3.Norm(r3.Sub(r3.Vec{X: w.CentreM[0], Y: w.CentreM[1], Z: w.CentreM[2]}, eye))
	blur := blurDiscMm(l.FocalLengthMm, l.FNumber, 1000*focusM, distanceMm) / pitchMm
	spot := newFootprint(a, b, w.LitSide, blur, diffractionSigma(l.FNumber, pitchMm, 1/r2.Norm(a)))
	for j := range rows {
		group := v.groups[j%w.ScanGroups]
		for i := range columns {
			if at, ok := place(float64(i)+0.5, float64(j)+0.5); ok {
				spot.add(group, v.width, v.height, at)
			}
		}
	}
	var sum float64
	for _, g := range v.groups {
		for _, s := range g {
			sum += float64(s)
		}
	}
	mean := float32(sum / float64(v.width*v.height))
	for _, g := range v.groups {
		for i := range g {
			g[i] /= mean
		}
	}
	for y := range v.height {
		for x := range v.width {
			away := math.Hypot(float64(x)+0.5-float64(v.width)/2, float64(y)+0.5-float64(v.height)/2) * pitchMm
			light, _ := optics.RelativeIllumination(unit.Angle(math.Atan2(away, l.FocalLengthMm)))
			v.falloff[y*v.width+x] = float32(light)
		}
	}
	return v, nil
}

// row gives the mean electrons of the photosites of a row.
func (v *wallView) row(frame, y int, out []float64) {
	from := float64(frame)*v.period + float64(y)*v.rowTime
	clear(out)
	for g, seen := range v.groups {
		light := v.drive.light(g, from, v.exposure) * v.level * v.exposure
		for x, s := range seen[y*v.width : (y+1)*v.width] {
			out[x] += float64(s) * light
		}
	}
	for x := range out {
		out[x] *= float64(v.falloff[y*v.width+x])
	}
}

// drive is how the wall is lit: its scan groups take turns, and each pixel is on for the
// first part of its turn.
type drive struct {
	rate   float64 // refreshes a second
	groups int
	duty   float64
}

// light is what a group gives in an exposure, over its long-time mean.
func (d drive) light(group int, from, exposure float64) float64 {
	on := d.duty / float64(d.groups) // periods
	begins := float64(group) / float64(d.groups)
	lit := func(t float64) float64 { // periods on since the time 0
		whole, part := math.Modf(t*d.rate - begins + 1e6) // no time is so early that the sum is negative
		return whole*on + min(part, on)
	}
	return (lit(from+exposure) - lit(from)) / (exposure * d.rate * on)
}

// blurDiscMm is the diameter on the sensor of the disc that a lens focused at one
// distance makes of a point at another, for a thin lens. All are in mm.
func blurDiscMm(focal, fNumber, focus, object float64) float64 {
	return focal / fNumber * focal / (focus - focal) * math.Abs(object-focus) / object
}

// diffractionSigma is the standard deviation, in photosites, of the normal distribution
// that leaves as much contrast as a perfect round lens at a frequency, in cycles per
// photosite.
func diffractionSigma(fNumber, pitchMm, frequency float64) float64 {
	s := min(frequency/pitchMm*wavelengthMm*fNumber, 1)
	contrast := 2 / math.Pi * (math.Acos(s) - s*math.Sqrt(1-s*s))
	return math.Sqrt(-math.Log(max(contrast, 1e-9))/2) / (math.Pi * frequency)
}

// footprint is what photosites around an emitter get of it: its lit rectangle, blurred by
// the disc of the lens's focus and by diffraction, and summed over the square of a
// photosite. It is a table over the way from the emitter to the photosite's centre.
type footprint struct {
	steps int // of the table a photosite
	half  int // photosites from the middle to the edges
	side  int // entries along each side
	table []float64
}

// newFootprint makes the footprint of a rectangle, lit times as wide and high as the steps
// from emitter to emitter. blur is the diameter of the disc, in photosites.
func newFootprint(across, down r2.Vec, lit, blur, sigma float64) *footprint {
	steps := 48
	if blur > 1.5 {
		steps = 16 // a blurred footprint has no fine detail
	}
	p := &footprint{steps: steps}
	p.half = int(math.Ceil(lit/2*(r2.Norm(across)+r2.Norm(down)) + blur/2 + 5*sigma + sensitiveWidth/2 + 1))
	n := float64(steps)
	p.side = 2*p.half*steps + 1
	p.table = make([]float64, p.side*p.side)
	det := r2.Cross(across, down)
	const fine = 4 // points of an entry along each side
	for j := range p.side {
		for i := range p.side {
			inside := 0
			for k := range fine * fine {
				at := r2.Vec{
					X: (float64(i) + (float64(k%fine)+0.5)/fine - 0.5) / n,
					Y: (float64(j) + (float64(k/fine)+0.5)/fine - 0.5) / n,
				}
				at = r2.Sub(at, r2.Vec{X: float64(p.half), Y: float64(p.half)})
				if math.Abs(r2.Cross(at, down)/det) < lit/2 && math.Abs(r2.Cross(across, at)/det) < lit/2 {
					inside++
				}
			}
			p.table[j*p.side+i] = float64(inside) / fine / fine
		}
	}
	p.disc(blur / 2 * n)
	p.along(normalKernel(sigma * n))
	p.along(boxKernel(sensitiveWidth * n))
	return p
}

// disc takes the mean over discs of a radius, from the sums along their chords.
func (p *footprint) disc(radius float64) {
	if radius < 1 {
		return
	}
	n := p.side
	sums := make([]float64, n*(n+1))
	for j := range n {
		for i := range n {
			sums[j*(n+1)+i+1] = sums[j*(n+1)+i] + p.table[j*n+i]
		}
	}
	// sum goes to a place between two entries.
	sum := func(j int, x float64) float64 {
		x = min(max(x, 0), float64(n))
		i := min(int(x), n-1)
		row := sums[j*(n+1) : (j+1)*(n+1)]
		return row[i] + (row[i+1]-row[i])*(x-float64(i))
	}
	for j := range n {
		for i := range n {
			total := 0.0
			for k := max(0, j-int(radius)); k <= min(n-1, j+int(radius)); k++ {
				half := math.Sqrt(radius*radius - float64((k-j)*(k-j)))
				total += sum(k, float64(i)+0.5+half) - sum(k, float64(i)+0.5-half)
			}
			p.table[j*n+i] = total / (math.Pi * radius * radius)
		}
	}
}

// along convolves with a kernel along both axes.
func (p *footprint) along(kernel []float64) {
	n, reach := p.side, len(kernel)/2
	row := make([]float64, n)
	for pass := range 2 {
		step, next := 1, n
		if pass == 1 {
			step, next = n, 1
		}
		for j := range n {
			line := p.table[j*next:]
			for i := range row {
				row[i] = 0
				for k := max(0, i-reach); k <= min(n-1, i+reach); k++ {
					row[i] += kernel[k-i+reach] * line[k*step]
				}
			}
			for i, v := range row {
				line[i*step] = v
			}
		}
	}
}

// normalKernel is a kernel whose weights are those of a normal distribution.
func normalKernel(sigma float64) []float64 {
	reach := int(math.Ceil(5 * sigma))
	kernel := make([]float64, 2*reach+1)
	for i := range kernel {
		edge := func(x float64) float64 { return math.Erf(x / (sigma * math.Sqrt2)) }
		x := float64(i - reach)
		kernel[i] = (edge(x+0.5) - edge(x-0.5)) / 2
	}
	return kernel
}

// boxKernel is a kernel of an even weight over a width.
func boxKernel(width float64) []float64 {
	reach := int(math.Ceil(width/2 - 0.5))
	kernel := make([]float64, 2*reach+1)
	for i := range kernel {
		from, to := float64(i-reach)-0.5, float64(i-reach)+0.5
		kernel[i] = max(0, min(to, width/2)-max(from, -width/2)) / width
	}
	return kernel
}

// add gives the photosites what they get of an emitter.
func (p *footprint) add(picture []float32, width, height int, at r2.Vec) {
	for y := max(0, int(at.Y)-p.half); y <= min(height-1, int(at.Y)+p.half); y++ {
		for x := max(0, int(at.X)-p.half); x <= min(width-1, int(at.X)+p.half); x++ {
			a := (float64(x) + 0.5 - at.X + float64(p.half)) * float64(p.steps)
			b := (float64(y) + 0.5 - at.Y + float64(p.half)) * float64(p.steps)
			i, j := int(a), int(b)
			if a < 0 || b < 0 || i >= p.side-1 || j >= p.side-1 {
				continue
			}
			a, b = a-float64(i), b-float64(j)
			t := p.table[j*p.side+i:]
			top, bottom := t[0]+(t[1]-t[0])*a, t[p.side]+(t[p.side+1]-t[p.side])*a
			picture[y*width+x] += float32(top + (bottom-top)*b)
		}
	}
}

// steady is the picture under a light that does not vary, without falloff.
func (v *wallView) steady(x, y int) (light float64) {
	for _, g := range v.groups {
		light += float64(g[y*v.width+x])
	}
	return light
}

// aliasContrast is the contrast of the pattern that the rows of emitters leave, by a Fourier
// sum over the picture. Its frequency is that of the grid less one cycle a photosite.
func (v *wallView) aliasContrast() (contrast float64) {
	weight := func(i, n int) float64 { return 1 - math.Cos(2*math.Pi*(float64(i)+0.5)/float64(n)) }
	for _, f := range v.aliases {
		var re, im, mean float64
		for y := range v.height {
			for x := range v.width {
				s := v.steady(x, y) * weight(x, v.width) * weight(y, v.height)
				sin, cos := math.Sincos(2 * math.Pi * (f.X*float64(x) + f.Y*float64(y)))
				re, im, mean = re+s*cos, im+s*sin, mean+s
			}
		}
		contrast = max(contrast, 2*math.Hypot(re, im)/mean)
	}
	return contrast
}

// bandDepth is the depth of the scan bands: of the mean light of rows, over that under a
// steady light, at all phases.
func (v *wallView) bandDepth() float64 {
	low, high := math.Inf(1), math.Inf(-1)
	const steps = 64
	for y := range v.height {
		var sums []float64
		var all float64
		for _, g := range v.groups {
			sum := 0.0
			for _, s := range g[y*v.width : (y+1)*v.width] {
				sum += float64(s)
			}
			sums, all = append(sums, sum), all+sum
		}
		for i := range steps {
			light := 0.0
			for g, sum := range sums {
				light += sum / all * v.drive.light(g, float64(i)/steps/v.drive.rate+float64(y)*v.rowTime, v.exposure)
			}
			low, high = min(low, light), max(high, light)
		}
	}
	return (high - low) / (high + low)
}
