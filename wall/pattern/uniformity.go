package pattern

import (
	"math"
	"strconv"

	"example.com/platewright/internal/parallel"
	"example.com/platewright/internal/plane"
	"example.com/platewright/internal/quantity"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/stat/distuv"
)

const (
	blockSide   = 8 // pixels: noise of neighbours may be correlated within it
	leastBlocks = 6 // along each side of a region
	parts       = 12
	partLength  = 8   // pixels of a joint at least
	kept        = 1.5 // pixels on each side of a joint that are left out, since both sides are in them
)

// UniformitySpec says which regions and joints of a picture are measured.
type UniformitySpec struct {
	// Columns and Rows are the number of regions, 1 to 256 each. Zero means 8. A region
	// must have at least 48 columns and rows of pixels.
	Columns, Rows int
	// Joints are where panels meet, at most 4096.
	Joints []Joint
	// Reach is how many pixels on each side of a joint are measured, 4 to 256. Zero means
	// 16. The wall must be in the picture as far as that.
	Reach int
	// Linear gives the linear light of a code. If it is nil, samples are linear. It is
	// left out of JSON.
	Linear func(code float64) (light float64) `json:"-"`
	// White is the code from which on a sample is clipped. Zero means the largest whole
	// number, and 1 for float32.
	White float64
}

// Joint is a straight line in the picture at which two panels meet, in pixels. No other
// joint may be within Reach: a joint ends that far from a crossing.
type Joint struct{ From, To r2.Vec }

// Uniformity is the result of MeasureUniformity. Light is in units of Linear's.
type Uniformity struct {
	Regions [][]Level // for each row and column of the grid
	Steps   []Step    // for each joint
}

// Level is the light of one region.
type Level struct {
	Region Region
	Mean   []Estimate // for each plane
	Spread []float64  // standard deviation of the pixels, with their noise, for each plane
	// Ratio is the mean of each plane over that of the first, the region's colour. It is
	// nil where the first is not above none by ten uncertainties, as in a dark frame.
	Ratio []Estimate
}

// Step is the change of light across a joint, for each plane: that to the right of the
// way from From to To, as seen in the picture, less that to the left, over their mean.
type Step []Estimate

// MeasureUniformity measures the light and colour of a picture by region, and the steps
// at the joints of panels. planes are the channels of the picture, 1 to 16 of one size.
//
// The picture should show an even field on the wall. Of a dark frame, with the wall
// black, the means are the black level.
//
// The uncertainty of a mean is the noise of blocks of 8 × 8 pixels, from differences of
// three neighbouring blocks, over the root of their number. So noise may be correlated
// within 8 pixels, and slow changes of the light do not count as noise. That of a ratio
// takes the noise of planes as independent.
//
// At a joint, straight lines are fitted to the light on both sides, from 1.5 pixels to
// Reach away. A step is the difference of their ends at the joint. So a gradient across
// the joint is no step. The joint is cut into 12 parts, or fewer if it is short; the step
// is their mean, and the uncertainty comes from the differences between them, made
// larger by Student's distribution so that three of it hold 99.7 %. A joint of less than
// 32 pixels, one that is not at least Reach inside the picture, or whose light is not
// above 0, is an error.
//
// A clipped sample within a region or near a joint is an error, and so is one that is
// not a number.
func MeasureUniformity[T Sample](planes []Plane[T], spec UniformitySpec) (Uniformity, error) {
	c := newChecker()
	if spec.Columns == 0 {
		spec.Columns = 8
	}
	if spec.Rows == 0 {
		spec.Rows = 8
	}
	if spec.Reach == 0 {
		spec.Reach = 16
	}
	if spec.White == 0 {
		spec.White = plane.FullScale[T]()
	}
	c.Int("columns", spec.Columns, "", 1, 256)
	c.Int("rows", spec.Rows, "", 1, 256)
	c.Int("reach", spec.Reach, "px", 4, 256)
	c.Int("joints", len(spec.Joints), "", 0, 4096)
	c.Int("planes", len(planes), "", 1, 16)
	c.Number("white", spec.White, "", valid.Closed(-math.MaxFloat32, math.MaxFloat32))
	if !c.OK() {
		return Uniformity{}, c.Err()
	}
	w, h := planes[0].Width, planes[0].Height
	for i, p := range planes {
		name := "planes[" + strconv.Itoa(i) + "]"
		p.Check(c, name, leastBlocks*blockSide*max(1, min(spec.Columns, spec.Rows)))
		if p.Width != w || p.Height != h {
			c.Fault(name, strconv.Itoa(p.Width)+" × "+strconv.Itoa(p.Height)+" px", "must be as large as the first, %s × %s px", strconv.Itoa(w), strconv.Itoa(h))
		}
	}
	if side := leastBlocks * blockSide; c.OK() && (w/spec.Columns < side || h/spec.Rows < side) {
		c.Fault("picture", strconv.Itoa(w)+" × "+strconv.Itoa(h)+" px", "must have at least %d columns and rows for each region", side)
	}
	for i, j := range spec.Joints {
		j.check(c, "joints["+strconv.Itoa(i)+"]", w, h, spec.Reach)
	}
	if err := c.Err(); err != nil {
		return Uniformity{}, err
	}
	lights := plane.NewLights[T](spec.Linear, w*h)
	regions := make([]Level, spec.Columns*spec.Rows)
	faults := make([]error, len(regions))
	parallel.For(parallel.Workers(), len(regions), func(_, i int) {
		x, y := i%spec.Columns, i/spec.Columns
		r := Region{x * w / spec.Columns, y * h / spec.Rows, (x+1)*w/spec.Columns - x*w/spec.Columns, (y+1)*h/spec.Rows - y*h/spec.Rows}
		regions[i], faults[i] = levelOf(planes, r, lights, spec.White)
	})
	for _, err := range faults {
		if err != nil {
			return Uniformity{}, err
		}
	}
	result := Uniformity{Steps: make([]Step, len(spec.Joints))}
	for y := range spec.Rows {
		result.Regions = append(result.Regions, regions[y*spec.Columns:(y+1)*spec.Columns])
	}
	for i, j := range spec.Joints {
		for _, p := range planes {
			e, ok := j.step(func(x, y int) float64 {
				row, step := p.Row(y)
				return lights.Of(row[x*step])
			}, spec.Reach)
			if !ok {
				return Uniformity{}, newChecker().Refuse("joints["+strconv.Itoa(i)+"]", "no light", "must have light above 0 on both sides")
			}
			result.Steps[i] = append(result.Steps[i], e)
		}
	}
	return result, nil
}

// levelOf measures a region.
func levelOf[T Sample](planes []Plane[T], r Region, lights plane.Lights[T], white float64) (Level, error) {
	l := Level{Region: r}
	across, down := r.Width/blockSide, r.Height/blockSide
	blocks := make([]float64, across*down)
	for _, p := range planes {
		clear(blocks)
		part := p.Sub(r.X, r.Y, r.Width, r.Height)
		var sum, squares, first float64
		for y := range r.Height {
			row, step := part.Row(y)
			for x := range r.Width {
				v := row[x*step]
				light := lights.Of(v)
				if !(math.Abs(float64(v)) <= math.MaxFloat32 && math.Abs(light) <= math.MaxFloat32) {
					return Level{}, notFinite(r.X+x, r.Y+y)
				}
				if float64(v) >= white {
					return Level{}, newChecker().Refuse("sample", quantity.Number(float64(v), ""), "must be below white, %s: it is clipped (column %d, row %d)", quantity.Number(white, ""), r.X+x, r.Y+y)
				}
				if x == 0 && y == 0 {
					first = light
				}
				sum += light - first
				squares += (light - first) * (light - first)
				if bx, by := x/blockSide, y/blockSide; bx < across && by < down {
					blocks[by*across+bx] += light / (blockSide * blockSide)
				}
			}
		}
		n := float64(r.Width * r.Height)
		var noise float64
		count := 0
		add := func(a, b, c float64) {
			d := a - 2*b + c
			noise += d * d / 6
			count++
		}
		for y := range down {
			for x := range across {
				i := y*across + x
				if x > 0 && x < across-1 {
					add(blocks[i-1], blocks[i], blocks[i+1])
				}
				if y > 0 && y < down-1 {
					add(blocks[i-across], blocks[i], blocks[i+across])
				}
			}
		}
		mean := sum / n
		l.Mean = append(l.Mean, Estimate{Value: first + mean, Uncertainty: math.Sqrt(noise / float64(count) * blockSide * blockSide / n)})
		l.Spread = append(l.Spread, math.Sqrt(max(0, squares/n-mean*mean)*n/(n-1)))
	}
	first := l.Mean[0]
	if !(first.Value > 10*first.Uncertainty) {
		return l, nil
	}
	for i, m := range l.Mean {
		e := Estimate{Value: m.Value / first.Value}
		if i > 0 {
			e.Uncertainty = math.Hypot(m.Uncertainty, e.Value*first.Uncertainty) / first.Value
		}
		l.Ratio = append(l.Ratio, e)
	}
	return l, nil
}

func (j Joint) text() string {
	n := func(v float64) string { return quantity.Number(v, "") }
	return "(" + n(j.From.X) + ", " + n(j.From.Y) + ") to (" + n(j.To.X) + ", " + n(j.To.Y) + ") px"
}

// check adds a fault unless the joint and its sides lie in the picture.
func (j Joint) check(c *valid.Checker, name string, width, height, reach int) {
	r, w, h := float64(reach), float64(width), float64(height)
	d := r2.Sub(j.To, j.From)
	length := r2.Norm(d)
	if !(length >= 4*partLength && length <= 2*valid.MaxSide) {
		c.Fault(name, j.text(), "must be at least %d px long", 4*partLength)
		return
	}
	aside := r2.Vec{X: math.Abs(d.Y) / length * r, Y: math.Abs(d.X) / length * r}
	for _, p := range []r2.Vec{j.From, j.To} {
		if !(p.X >= aside.X && p.X <= w-aside.X && p.Y >= aside.Y && p.Y <= h-aside.Y) {
			c.Fault(name, j.text(), "must lie in the picture of %s × %s px, with %d px on each side", strconv.Itoa(width), strconv.Itoa(height), reach)
			return
		}
	}
}

// sums of a straight-line fit.
type line struct{ n, x, y, xx, xy float64 }

func (l *line) add(x, y float64) {
	l.n++
	l.x += x
	l.y += y
	l.xx += x * x
	l.xy += x * y
}

// end is the line's value at 0.
func (l line) end() float64 {
	return (l.xx*l.y - l.x*l.xy) / (l.n*l.xx - l.x*l.x)
}

// step measures a joint. ok is false if its light is not above 0.
func (j Joint) step(light func(x, y int) float64, reach int) (e Estimate, ok bool) {
	d := r2.Sub(j.To, j.From)
	length := r2.Norm(d)
	way := r2.Scale(1/length, d)
	n := min(parts, int(length)/partLength)
	sides := make([][2]line, n)
	r := float64(reach)
	along := func(x, y int) {
		p := r2.Vec{X: float64(x) + 0.5 - j.From.X, Y: float64(y) + 0.5 - j.From.Y}
		t, s := r2.Dot(way, p), r2.Cross(way, p)
		if a := math.Abs(s); t < 0 || t >= length || a < kept || a > r {
			return
		}
		side := 0
		if s > 0 { // y is down, so this is to the right
			side = 1
		}
		sides[min(n-1, int(t/length*float64(n)))][side].add(s, light(x, y))
	}
	// Only the pixels near the joint, column by column or row by row.
	if math.Abs(way.X) > math.Abs(way.Y) {
		wide := r / math.Abs(way.X)
		for x := int(min(j.From.X, j.To.X)); x <= int(max(j.From.X, j.To.X)); x++ {
			y := j.From.Y + (float64(x)+0.5-j.From.X)*way.Y/way.X
			each(y-wide-1, y+wide+1, func(y int) { along(x, y) })
		}
	} else {
		wide := r / math.Abs(way.Y)
		for y := int(min(j.From.Y, j.To.Y)); y <= int(max(j.From.Y, j.To.Y)); y++ {
			x := j.From.X + (float64(y)+0.5-j.From.Y)*way.X/way.Y
			each(x-wide-1, x+wide+1, func(x int) { along(x, y) })
		}
	}
	steps := make([]float64, n)
	for i, s := range sides {
		left, right := s[0].end(), s[1].end()
		if !(left+right > 0) {
			return Estimate{}, false
		}
		steps[i] = 2 * (right - left) / (left + right)
		e.Value += steps[i] / float64(n)
	}
	var squares float64
	for _, s := range steps {
		squares += (s - e.Value) * (s - e.Value)
	}
	freedom := float64(n - 1)
	wider := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: freedom}.Quantile(0.99865) / 3
	e.Uncertainty = wider * math.Sqrt(squares/freedom/float64(n))
	return e, true
}

func each(from, to float64, f func(int)) {
	for i := int(math.Floor(from)); i <= int(to); i++ {
		f(i)
	}
}
