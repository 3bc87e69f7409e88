package projection

import (
	"math"
	"sync"
	"unsafe"

	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// ProjectAll is Project of many directions: x[i], y[i] and ok[i] for dirs[i]. It
// does as many as the shortest of the four slices holds, and gives their number.
// It allocates nothing, but for tables on the first call for a camera. Where x and
// y share memory, so that one result would overwrite another, it does nothing and
// gives 0.
//
// Each position is that of Project to within 2e-15 of its distance from the
// principal point and the rounding of the position, each ok the same but where
// the limit is as near as that. Closed forms and OddPolynomial are fast; for
// another Model, Project is asked.
func (c Camera) ProjectAll(x, y []float64, ok []bool, dirs []r3.Vec) int {
	n := min(len(x), len(y), len(ok), len(dirs))
	x, y, ok, dirs = x[:n], y[:n], ok[:n], dirs[:n]
	if overlap(x, y) {
		return 0
	}
	if c.c == nil {
		for i := range dirs {
			x[i], y[i], ok[i] = 0, 0, false
		}
		return n
	}
	var b block
	for at := 0; at < n; at += blockSize {
		end := min(at+blockSize, n)
		c.c.projectBlock(&b, x[at:end], y[at:end], ok[at:end], dirs[at:end])
	}
	return n
}

// overlap reports whether two slices of one length share elements.
func overlap(a, b []float64) bool {
	p, q := uintptr(unsafe.Pointer(unsafe.SliceData(a))), uintptr(unsafe.Pointer(unsafe.SliceData(b)))
	return max(p, q)-min(p, q) < uintptr(len(a))*unsafe.Sizeof(0.0)
}

// UnprojectAll is Unproject of many positions, the inverse of ProjectAll: dirs[i]
// and ok[i] for x[i], y[i]. It does as many as the shortest of the four slices
// holds, and gives their number. It allocates nothing, but for tables on the
// first call for a camera. x and y may share memory.
//
// Each direction is that of Unproject to within 3e-15 rad, or what Angle states
// near a stop of an OddPolynomial's radius, each ok the same.
func (c Camera) UnprojectAll(dirs []r3.Vec, ok []bool, x, y []float64) int {
	n := min(len(x), len(y), len(ok), len(dirs))
	x, y, ok, dirs = x[:n], y[:n], ok[:n], dirs[:n]
	if c.c == nil {
		for i := range dirs {
			dirs[i], ok[i] = r3.Vec{}, false
		}
		return n
	}
	var b block
	for at := 0; at < n; at += blockSize {
		end := min(at+blockSize, n)
		c.c.unprojectBlock(&b, dirs[at:end], ok[at:end], x[at:end], y[at:end])
	}
	return n
}

// blockSize is how many directions go through each step before the next step:
// what the steps hand over stays in the nearest cache.
const blockSize = 128

// block holds what the steps hand over. Of a direction: its components to the
// right, down and ahead, its length squared, and what Project calls k. Of a
// position: its image height squared, and what Unproject calls k and z.
type block struct{ x, y, z, n2, k [blockSize]float64 }

// projectBlock does up to blockSize directions. The steps are those of Project;
// where one of them leaves the answer open, k is not a number, and Project is
// asked.
func (c *camera) projectBlock(b *block, x, y []float64, ok []bool, dirs []r3.Vec) {
	right, down, ahead := c.right, c.down, c.ahead
	for i := range dirs {
		d := &dirs[i]
		vx := right.X*d.X + right.Y*d.Y + right.Z*d.Z
		vy := down.X*d.X + down.Y*d.Y + down.Z*d.Z
		vz := ahead.X*d.X + ahead.Y*d.Y + ahead.Z*d.Z
		n2 := vx*vx + vy*vy + vz*vz
		if !(n2 > 0x1p-300 && n2 < 0x1p300) {
			vz, n2 = math.NaN(), math.NaN()
		}
		i &= blockSize - 1
		b.x[i], b.y[i], b.z[i], b.n2[i] = vx, vy, vz, n2
	}
	c.perSides(b, len(dirs))
	fx, fy, cx, cy, rMax2 := c.fx, c.fy, c.cx, c.cy, c.rMax2
	x, y, ok = x[:len(dirs)], y[:len(dirs)], ok[:len(dirs)]
	for i := range dirs {
		j := i & (blockSize - 1)
		px, py := b.k[j]*b.x[j], b.k[j]*b.y[j]
		switch r2 := px*px + py*py; {
		case r2 <= rMax2*(1-slack):
			if c.distortion != nil {
				if px, py, ok[i] = c.distort(px, py); !ok[i] {
					x[i], y[i] = 0, 0
					continue
				}
			}
			x[i], y[i], ok[i] = cx+fx*px, cy+fy*py, true
		case r2 > rMax2*(1+slack):
			x[i], y[i], ok[i] = 0, 0, false
		default:
			x[i], y[i], ok[i] = Camera{c}.Project(dirs[i])
		}
	}
}

// perSides fills in k of a block.
func (c *camera) perSides(b *block, count int) {
	n2, z, k := b.n2[:count], b.z[:count], b.k[:count]
	switch c.form {
	case Rectilinear:
		for i, z := range z {
			if z <= 0 {
				z = 0
			}
			k[i] = 1 / z
		}
	case Stereographic:
		for i, z := range z {
			n := math.Sqrt(n2[i])
			if z < -0.9*n {
				z = math.NaN()
			}
			k[i] = 2 / (n + z)
		}
	case Equisolid:
		for i, z := range z {
			n := math.Sqrt(n2[i])
			if z < -0.9*n {
				z = math.NaN()
			}
			k[i] = math.Sqrt(2 / (n * (n + z)))
		}
	case Orthographic:
		for i, z := range z {
			n := math.Sqrt(n2[i])
			if z < 0 {
				n = math.NaN()
			}
			k[i] = 1 / n
		}
	default:
		t := c.tables()
		if t == nil {
			leaveOpen(k)
			return
		}
		t.out.over(k, z, n2)
	}
}

// unprojectBlock does up to blockSize positions, in the steps of Unproject.
func (c *camera) unprojectBlock(b *block, dirs []r3.Vec, ok []bool, x, y []float64) {
	ix, iy, cx, cy, rMax2 := c.ix, c.iy, c.cx, c.cy, c.rMax2
	x, y, ok = x[:len(dirs)], y[:len(dirs)], ok[:len(dirs)]
	for i := range dirs {
		j := i & (blockSize - 1)
		b.x[j], b.y[j] = (x[i]-cx)*ix, (y[i]-cy)*iy
		ok[i] = true
	}
	c.undistorts(b, ok)
	for i := range dirs {
		j := i & (blockSize - 1)
		u, v := b.x[j], b.y[j]
		b.n2[j] = square(u, v)
		ok[i] = ok[i] && b.n2[j] <= rMax2
	}
	c.rays(b, len(dirs))
	right, down, ahead := c.right, c.down, c.ahead
	for i := range dirs {
		j := i & (blockSize - 1)
		if !ok[i] {
			dirs[i] = r3.Vec{}
			continue
		}
		k, z := b.k[j], b.z[j]
		if math.IsNaN(k) {
			dirs[i], ok[i] = Camera{c}.Unproject(x[i], y[i])
			continue
		}
		p, q := k*b.x[j], k*b.y[j]
		dirs[i] = r3.Vec{
			X: p*right.X + q*down.X + z*ahead.X,
			Y: p*right.Y + q*down.Y + z*ahead.Y,
			Z: p*right.Z + q*down.Z + z*ahead.Z,
		}
	}
}

// undistorts is undistort for the positions of a block that are ok.
func (c *camera) undistorts(b *block, ok []bool) {
	if c.distortion == nil {
		return
	}
	if brown, is := c.distortion.(BrownConrady); is {
		brown.d.undistorts(b, len(ok))
	} else {
		leaveOpen(b.k[:len(ok)])
	}
	for i := range ok {
		j := i & (blockSize - 1)
		u, v := b.x[j], b.y[j]
		if x, y := b.k[j], b.z[j]; !math.IsNaN(x) && u*u+v*v <= c.uMax2 {
			b.x[j], b.y[j] = x, y
		} else {
			b.x[j], b.y[j], ok[i] = c.undistort(u, v)
		}
	}
}

// rays fills in k and z of a block.
func (c *camera) rays(b *block, count int) {
	r2, z, k := b.n2[:count], b.z[:count], b.k[:count]
	switch c.form {
	case Rectilinear:
		for i, r2 := range r2 {
			z[i] = 1 / math.Sqrt(1+r2)
			k[i] = z[i]
		}
	case Stereographic:
		for i, r2 := range r2 {
			f := 1 / (4 + r2)
			k[i], z[i] = 4*f, (4-r2)*f
		}
	case Equisolid:
		for i, r2 := range r2 {
			k[i], z[i] = math.Sqrt(1-r2/4), 1-r2/2
		}
	case Orthographic:
		for i, r2 := range r2 {
			k[i], z[i] = 1, math.Sqrt(1-r2)
			if r2 > 1 {
				k[i] = math.NaN()
			}
		}
	default:
		t := c.tables()
		if t == nil {
			leaveOpen(k)
			return
		}
		t.in.over(k, z, r2)
	}
}

// leaveOpen leaves answers to the single calls.
func leaveOpen(k []float64) {
	for i := range k {
		k[i] = math.NaN()
	}
}

// The image height over sin θ is a smooth function of cos θ, and sin θ over the
// image height, and cos θ, are smooth functions of the height's square, if the
// model is smooth. Polynomials on cells take the place of the model there.
const (
	cells  = 128
	degree = 7
)

// poly is a polynomial of −1 … 1, or not a number.
type poly [degree + 1]float64

func (p *poly) at(h float64) float64 {
	h2 := h * h
	h4 := h2 * h2
	return (p[0] + h*p[1] + h2*(p[2]+h*p[3])) + h4*(p[4]+h*p[5]+h2*(p[6]+h*p[7]))
}

// outward is r/sin θ as a function of cos θ from low to 1.
type outward struct {
	low, perCell float64
	cell         [cells]poly
}

// over gives r/s for s, the distance of a direction's tip from the axis, from z
// and the square of the length.
func (t *outward) over(k, z, n2 []float64) {
	z, n2 = z[:len(k)], n2[:len(k)]
	for i := range k {
		per := 1 / math.Sqrt(n2[i])
		at := (z[i]*per - t.low) * t.perCell
		j := int(at)
		if j == cells {
			j--
		}
		if !(at >= 0) || uint(j) >= cells { // beyond the limit, or no direction
			k[i] = math.NaN()
			continue
		}
		k[i] = t.cell[j].at(2*(at-float64(j))-1) * per
	}
}

// inward is sin θ/r and cos θ as functions of r² up to the largest.
type inward struct {
	perCell float64
	cell    [cells]struct{ k, z poly }
}

func (t *inward) over(k, z, r2 []float64) {
	z, r2 = z[:len(k)], r2[:len(k)]
	for i := range k {
		at := r2[i] * t.perCell
		j := int(at)
		if uint(j) >= cells {
			k[i] = math.NaN()
			continue
		}
		h := 2*(at-float64(j)) - 1
		k[i], z[i] = t.cell[j].k.at(h), t.cell[j].z.at(h)
	}
}

// tables are made when slices are first asked for.
type tables struct {
	once sync.Once
	out  outward
	in   inward
}

// tables is nil for a model of which it is not known that it is smooth between
// the angles at which it is asked.
func (c *camera) tables() *tables {
	if _, smooth := c.model.(OddPolynomial); !smooth && c.form != Equidistant {
		return nil
	}
	c.table.once.Do(func() { c.table.fill(c) })
	return c.table
}

func (t *tables) fill(c *camera) {
	t.out.low = math.Cos(c.thetaMax)
	t.out.perCell = cells / (1 - t.out.low)
	t.in.perCell = cells / c.rMax2
	for i := range cells {
		t.out.cell[i] = fit(func(h float64) float64 {
			theta := math.Acos(t.out.low + (float64(i)+(1+h)/2)/t.out.perCell)
			r, ok := c.model.Radius(unit.Angle(min(theta, c.thetaMax)))
			switch {
			case !ok:
				return math.NaN()
			case theta < 1e-6:
				slope, _ := c.model.Slope(0)
				return slope
			}
			return r / math.Sin(theta)
		}, 0, 1e-15)
		r := func(h float64) float64 { return math.Sqrt((float64(i) + (1+h)/2) / t.in.perCell) }
		t.in.cell[i].k = fit(func(h float64) float64 {
			k, _, ok := c.ray(r(h) * r(h))
			if !ok {
				return math.NaN()
			}
			return k
		}, 1e-15/r(1), 0) // times the radius, it is a part of the direction
		t.in.cell[i].z = fit(func(h float64) float64 { _, z, _ := c.ray(r(h) * r(h)); return z }, 1e-15, 0)
		if math.IsNaN(t.in.cell[i].z[0]) {
			t.in.cell[i].k = t.in.cell[i].z
		}
	}
}

// fit is the polynomial through a function at the zeros of a Chebyshev
// polynomial, or not a number where between them it is off by more than an error
// and a fraction of the function's value.
func fit(f func(h float64) float64, absolute, relative float64) (p poly) {
	const n = degree + 1
	middle := f(0)      // apart, so that only what is left is rounded in summing
	var cheb [n]float64 // coefficients of Chebyshev polynomials
	for i := range n {
		a := math.Pi * (float64(i) + 0.5) / n
		y := f(math.Cos(a)) - middle
		for k := range n {
			cheb[k] += 2. / n * y * math.Cos(float64(k)*a)
		}
	}
	cheb[0] /= 2
	// T(k+1) = 2h T(k) − T(k−1).
	before, now := poly{1}, poly{0, 1}
	p = poly{cheb[0]}
	for k := 1; k < n; k++ {
		next := poly{}
		for j := range n {
			p[j] += cheb[k] * now[j]
			if j > 0 {
				next[j] = 2 * now[j-1]
			}
			next[j] -= before[j]
		}
		before, now = now, next
	}
	p[0] += middle
	for i := range n + 1 {
		h := math.Cos(math.Pi * float64(i) / n)
		if want := f(h); !(math.Abs(p.at(h)-want) <= absolute+relative*math.Abs(want)) {
			return poly{math.NaN()}
		}
	}
	return p
}

// shrink is the ratio of radius to image height of the radial terms of a
// BrownConrady, as a function of the height's square up to 4: 63° off the axis.
type shrink struct {
	once    sync.Once
	perCell float64
	cell    [cells]poly
}

func (t *shrink) fill(d *brownConrady) {
	end := min(d.max, 4)
	g, _ := d.ratio(end * end)
	t.perCell = cells / min(4, end*end*g*g)
	for i := range cells {
		t.cell[i] = fit(func(h float64) float64 {
			rho := math.Sqrt((float64(i) + (1+h)/2) / t.perCell)
			if rho == 0 {
				return 1
			}
			return d.radius(rho) / rho
		}, 1e-9, 1e-9) // to begin with
	}
}

func (t *shrink) at(rho2 float64) float64 {
	at := rho2 * t.perCell
	j := int(at)
	if uint(j) >= cells {
		return math.NaN()
	}
	return t.cell[j].at(2*(at-float64(j)) - 1)
}

// undistorts is Undistort of a block's positions, to k and z: not a number where
// Undistort itself is to be asked. It serves terms that are small against the
// radial ones. The radial terms go by table, the others are taken off once, and
// two steps of Newton's method square what that leaves, twice.
func (d *brownConrady) undistorts(b *block, count int) {
	d.table.once.Do(func() { d.table.fill(d) })
	us, vs, xs, ys := b.x[:count], b.y[:count], b.k[:count], b.z[:count]
	for i, u := range us {
		v := vs[i]
		s := d.table.at(u*u + v*v)
		xs[i], ys[i] = s*u, s*v
	}
	if !d.radial {
		for i, u := range us {
			v, x, y := vs[i], xs[i], ys[i]
			r2 := x*x + y*y
			along := 2 * (d.P1*y + d.P2*x)
			u -= x*along + r2*(d.P2+d.S1+r2*d.S2)
			v -= y*along + r2*(d.P1+d.S3+r2*d.S4)
			s := d.table.at(u*u + v*v)
			xs[i], ys[i] = s*u, s*v
		}
	}
	for i, u := range us {
		dx, dy := d.newton(xs[i], ys[i], u, vs[i])
		xs[i], ys[i] = xs[i]+dx, ys[i]+dy
	}
	for i, u := range us {
		dx, dy := d.newton(xs[i], ys[i], u, vs[i])
		x, y := xs[i]+dx, ys[i]+dy
		// The next step would be some square of this one.
		if !(dx*dx+dy*dy <= 1e-17 && x*x+y*y <= d.max2) {
			x = math.NaN()
		}
		xs[i], ys[i] = x, y
	}
}
