package transfer

import (
	"cmp"
	"math"
	"slices"

	"example.com/platewright/internal/estimate"
	"example.com/platewright/internal/plane"
	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/unit"
)

// Sample is a type of samples.
type Sample = plane.Sample

// Plane is one channel of a picture: Width × Height samples in Pix. Row y begins at
// y · Stride, and samples of a row are Step apart. Zero means Width · Step for Stride
// and 1 for Step. Samples are not copied.
type Plane[T Sample] = plane.Plane[T]

// Estimate is a measured value. Uncertainty is its standard uncertainty: one standard
// deviation.
type Estimate = estimate.Estimate

// EdgeSpec says how to measure an edge. Its zero value is for linear light.
type EdgeSpec struct {
	// Linear gives the light of a sample. Nil means linear samples. JSON leaves it out.
	Linear func(sample float64) (light float64) `json:"-"`
	// White and Black are where samples clip. If both are 0, integers clip at their ends.
	White, Black float64
	// HalfWidth is how far from the edge its spread is followed, from 6 to 1000 px. Zero
	// means 64 px, and at most three quarters of the way to the sides of the plane.
	HalfWidth float64
}

// Edge is what MeasureEdge finds. Distances are in pixels.
type Edge struct {
	// Direction is that in which the light changes in the middle: 0° for an upright edge.
	// DirectionUncertainty is one standard deviation.
	Direction, DirectionUncertainty unit.Angle
	// Position is the column of an upright edge, or the row of a level one, in its middle.
	Position Estimate
	// Bow is how far the middle is beside the straight line between the ends, in columns
	// or rows as Position.
	Bow          Estimate
	Dark, Bright float64 // light on the two sides
	Noise        float64 // standard deviation of a sample, over Bright − Dark
	HalfWidth    float64 // how far from the edge its spread was followed
	Spread       []SpreadPoint
	Contrasts    []Contrast // from 0 to 1 cycle per pixel, in equal steps
}

// SpreadPoint is the light, 0 for Dark and 1 for Bright, by the distance from the edge.
type SpreadPoint struct{ Distance, Light float64 }

// Contrast is a measured transfer function at one frequency.
type Contrast struct {
	CyclesPerPixel float64
	OTF            Estimate // negative where bright and dark have changed places
	// MTF counts the sines of an unsymmetrical spread as well. Below two of its
	// uncertainties it says nothing.
	MTF Estimate
}

const (
	edgeKnots    = 0.25 // px between knots of the spread near the edge
	edgePhaseGap = 1. / 6
	edgeFewest   = 24 // rows and columns
	edgePlateau  = 3. // px beyond the spread, at least
	edgeSteepest = 40 * math.Pi / 180
)

// MeasureEdge measures the transfer function of everything between a scene and a
// picture, by the slanted edge of ISO 12233: a straight or evenly bent edge between two
// even areas, through the whole plane, a few degrees from upright or level. Its rows sample
// one spread at many distances, and so beyond the Nyquist frequency.
//
//	OTF(f) = ∫ E'(d) cos(2π f d) dd / (Bright − Dark)
//
// E is the light by the distance d from the edge, at right angles to it, and f is in
// cycles per pixel. f over the pitch in millimetres is the linePairsPerMM of a System.
// E is the cubic spline that fits all samples best about a cubic curve through the rows'
// edges. Its knots are 1/4 px apart near the edge, or 1/16 of the way from 10 to 90 % of
// the light if that is more, and farther apart away from it. The uncertainty comes from the
// residuals, and from how alike demosaicing and compression make those within 4 px.
//
// Light that spreads farther than HalfWidth counts as even. All contrasts but that at 0
// are then too high by its fraction: by 0.13 λ N/HalfWidth for diffraction. Shading
// counts as spread: light that still changes from half of HalfWidth on is part of the
// uncertainty, which a smaller HalfWidth lowers. The error of the spline is below
// 0.001 to 0.5 cycles per pixel, and below 0.005 to 1.
//
// A plane of fewer than 24 columns or rows is an error. So are samples that are not finite,
// and more than 0.5 % of them clipped. The edge must be alone and bend evenly, with
// even areas beside it and no noise that hides it in a row. Its angle must be at most 40°
// and leave no gaps of over 1/6 px between the distances sampled, as 0°, 18.4° and 26.6° do.
//
// Source: ISO 12233:2017, annex D, from memory; the fit instead of bins is our own.
func MeasureEdge[T Sample](p Plane[T], spec EdgeSpec) (Edge, error) {
	c := valid.New("transfer", ErrInvalid)
	p.Check(c, "plane", edgeFewest)
	if spec.HalfWidth != 0 {
		c.Number("half width", spec.HalfWidth, "px", valid.Closed(6.0, 1000.0))
	}
	white, black := spec.White, spec.Black
	if white == 0 && black == 0 {
		if white = plane.FullScale[T](); white == 1 {
			white, black = math.Inf(1), math.Inf(-1)
		}
	} else {
		ends := valid.Closed(-math.MaxFloat32, math.MaxFloat32)
		c.Number("white", white, "", ends)
		c.Number("black", black, "", ends)
		if c.OK() && black >= white {
			c.Fault("black", quantity.Number(black, ""), "must be less than white, %s", quantity.Number(white, ""))
		}
	}
	if !c.OK() {
		return Edge{}, c.Err()
	}
	s := newSlant(c, p, spec.Linear, white, black)
	if !c.OK() || !s.locate(c) {
		return Edge{}, c.Err()
	}
	e := s.measure(c, spec.HalfWidth)
	if err := c.Err(); err != nil {
		return Edge{}, err
	}
	return e, nil
}

// slant is a plane turned so that its edge is nearly upright and brighter on the right.
type slant struct {
	light         []float64
	width, height int
	level         bool    // turned by swapping columns and rows
	sign, middle  float64 // light is that of the plane less middle, times sign
	clipped       []bool  // nil if none is
	noise         float64 // rough, of a sample
	path          path
}

func (s *slant) row(y int) []float64 { return s.light[y*s.width : (y+1)*s.width] }

// path is the column of the edge by t, rows from the middle of the plane over half its
// height: a polynomial.
type path [4]float64

func (p path) at(t float64) float64 { return p[0] + t*(p[1]+t*(p[2]+t*p[3])) }

func (p path) slope(t float64) float64 { return p[1] + t*(2*p[2]+t*3*p[3]) }

// t is where the middle of row y is on the path.
func (s *slant) t(y int) float64 { return (float64(y)+0.5)/(float64(s.height)/2) - 1 }

// across is by what a distance along a row is multiplied to be one across the edge.
func (s *slant) across(t float64) float64 {
	return 1 / math.Hypot(1, s.path.slope(t)/(float64(s.height)/2))
}

func newSlant[T Sample](c *valid.Checker, p Plane[T], linear func(float64) float64, white, black float64) *slant {
	s := &slant{light: make([]float64, p.Width*p.Height), width: p.Width, height: p.Height, sign: 1}
	var across, down, middle float64 // light on the right less that on the left, and so on
	for y := range p.Height {
		row, step := p.Row(y)
		out := s.light[y*p.Width:][:p.Width]
		var sides [3]float64 // on the left, in a middle column, and on the right
		for x := range out {
			sample := float64(row[x*step])
			light := sample
			if linear != nil {
				light = linear(sample)
			}
			if !(math.Abs(light) <= math.MaxFloat32 && math.Abs(sample) <= math.MaxFloat32) {
				c.Fault("sample", quantity.Number(light, ""), "must be a finite number, as must its light (column %d, row %d)", x, y)
				return s
			}
			if sample >= white || sample <= black {
				if s.clipped == nil {
					s.clipped = make([]bool, len(s.light))
				}
				s.clipped[y*p.Width+x] = true
			}
			out[x] = light
			sides[1+cmp.Compare(2*x+1, p.Width)] += light
		}
		sum := sides[0] + sides[1] + sides[2]
		middle += sum
		across += sides[2] - sides[0]
		down += float64(cmp.Compare(2*y+1, p.Height)) * sum
	}
	if s.level = math.Abs(down) > math.Abs(across); s.level {
		s.width, s.height = p.Height, p.Width
		across = down
		s.light = turned(s.light, p.Width)
		if s.clipped != nil {
			s.clipped = turned(s.clipped, p.Width)
		}
	}
	s.middle = middle / float64(len(s.light)) // small numbers lose less to rounding
	if across < 0 {
		s.sign = -1
	}
	for i := range s.light {
		s.light[i] = s.sign * (s.light[i] - s.middle)
	}
	return s
}

// turned swaps the rows and columns of a plane of so many columns.
func turned[E any](pix []E, width int) []E {
	height := len(pix) / width
	out := make([]E, len(pix))
	for y := range height {
		for x, v := range pix[y*width : (y+1)*width] {
			out[x*height+y] = v
		}
	}
	return out
}

// locate finds the path of the edge roughly, from the steepest place of each row.
func (s *slant) locate(c *valid.Checker) bool {
	k := max(2, min(8, s.width/8)) // px averaged on each side
	at := make([]float64, s.height)
	var rises []float64
	var differences []float64
	for y := range s.height {
		row := s.row(y)
		var d float64
		for i := range k {
			d += row[k+i] - row[i]
		}
		best, place := math.Inf(-1), 0
		for x := k; ; x++ { // between pixels x − 1 and x
			if d > best {
				best, place = d, x
			}
			if x+k >= s.width {
				break
			}
			d += row[x+k] - 2*row[x] + row[x-k]
		}
		at[y] = float64(place)
		rises = append(rises, best/float64(k))
		for x := 2 + y%5; x < s.width; x += 31 {
			differences = append(differences, math.Abs(row[x]-row[x-1]))
		}
	}
	s.noise = estimate.MedianToDeviation * estimate.Median(differences) / math.Sqrt2
	rise := estimate.Median(rises)
	if !(rise > 0 && rise > 2.2*s.noise) {
		c.Fault("edge", quantity.Number(rise, "of light")+" high", "must be there and stand out: the noise of a sample is %s", quantity.Number(s.noise, ""))
		return false
	}
	// A line through the medians of halves, then curves through what is near.
	slopes := make([]float64, 0, s.height/2)
	for y := range s.height / 2 {
		slopes = append(slopes, at[y+s.height/2]-at[y])
	}
	slope := estimate.Median(slopes)
	offsets := make([]float64, s.height)
	for y := range offsets {
		offsets[y] = at[y] - slope*s.t(y)
	}
	s.path = path{estimate.Median(offsets), slope}
	far := float64(s.width)
	for range 4 {
		var residuals []float64
		for y := range at {
			residuals = append(residuals, math.Abs(at[y]-s.path.at(s.t(y))))
		}
		far = min(far, max(1.5, 4*estimate.Median(slices.Clone(residuals))))
		fit := newPathFit()
		for y := range at {
			if residuals[y] <= far {
				fit.add(s.t(y), at[y])
			}
		}
		if fit.n < s.height/2 {
			c.Fault("edge", "found in rows "+quantity.Number(float64(fit.n), ""), "must run through all %d rows (columns, if it is level) as one smooth line", s.height)
			return false
		}
		s.path, _, _ = fit.solve()
	}
	return true
}

// pathFit is the least squares fit of a path.
type pathFit struct {
	n       int
	normal  *mat.SymDense
	right   path
	squares float64
}

func newPathFit() *pathFit { return &pathFit{normal: mat.NewSymDense(len(path{}), nil)} }

func (f *pathFit) add(t, x float64) {
	f.n++
	b := path{1, t, t * t, t * t * t}
	for i := range b {
		for j := i; j < len(b); j++ {
			f.normal.SetSym(i, j, f.normal.At(i, j)+b[i]*b[j])
		}
		f.right[i] += b[i] * x
	}
	f.squares += x * x
}

// solve gives the path, its covariance from the scatter of the rows, and that scatter.
// All are 0 if rows are missing.
func (f *pathFit) solve() (p path, covariance *mat.SymDense, scatter float64) {
	covariance = mat.NewSymDense(len(p), nil)
	var chol mat.Cholesky
	if f.n <= len(p) || !chol.Factorize(f.normal) {
		return p, covariance, 0
	}
	var v mat.VecDense
	if chol.SolveVecTo(&v, mat.NewVecDense(len(p), f.right[:])) != nil || chol.InverseTo(covariance) != nil {
		return p, mat.NewSymDense(len(p), nil), 0
	}
	left := f.squares
	for i := range p {
		p[i] = v.AtVec(i)
		left -= p[i] * f.right[i]
	}
	variance := max(0, left) / float64(f.n-len(p))
	covariance.ScaleSym(variance, covariance)
	return p, covariance, math.Sqrt(variance)
}
