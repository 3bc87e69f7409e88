package fit

import (
	"math"
	"slices"
	"strconv"

	"example.com/platewright/internal/estimate"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// SeamSpec says where two plates are compared.
type SeamSpec struct {
	// Places are directions along the seam, of length 1, as the points of a rig's seam; nil
	// means a grid over the whole overlap.
	Places []r3.Vec
	// Patch is the side of the patches that are compared, in px of A: 8 to 128; 0 means 32.
	Patch int
	// Reach is the largest shift that is looked for, in px of A: 1 to 32; 0 means 8.
	Reach int
}

// Shift is how far B shows a thing from where it should.
type Shift struct {
	Dir  r3.Vec  // of the place, as plate A and its Camera have it
	X, Y float64 // of the place in A, px
	// Across and Down are from where A shows a thing to where B does, both by their Cameras, in
	// px of A to the right and down.
	Across, Down Estimate
}

func (s Shift) length() float64 { return math.Hypot(s.Across.Value, s.Down.Value) }

// AngleEstimate is a measured angle. Uncertainty is one standard deviation.
type AngleEstimate struct{ Value, Uncertainty unit.Angle }

// Seam is how far two plates are from fitting together.
type Seam struct {
	Shifts []Shift // in the order of the places
	// Unanswered is how many places of the overlap gave no shift: flat, clipped, repeating, or
	// not alike in the two plates.
	Unanswered    int
	Median, Worst float64 // length of the shifts, px of A
	// Heading, Elevation and Roll are by how much B is turned from what its Camera says, if A's
	// Camera is right: about B's own axes, to the right, upwards, and clockwise seen from behind.
	Heading, Elevation, Roll AngleEstimate
	// Rests are what this turn leaves of the Shifts: parallax, and lenses that are not as their
	// Cameras say.
	Rests                 []Shift
	MedianRest, WorstRest float64 // length of the rests, px of A
}

const (
	fewShifts     = 6
	mostPlaces    = 1 << 12
	leastAlike    = 0.8  // correlation of a patch in the two plates
	mostRepeating = 0.95 // of the best correlation, farther than two px from it
	mostUnsure    = 0.25 // px
	seamBlock     = 4    // px
	unlike        = 0.1  // px, by which lenses and parallax make places differ
	mostLever     = 0.8
	neighbours    = 4    // by how much what makes them alike, interpolation and blur, raises a variance
	leastShiftU   = 0.03 // px, what interpolation does
)

// MeasureSeam measures the shift between two plates at places where they overlap. Patches
// of the middle channel, green of three, are resampled to the directions of A's pixels, and
// blurred a little against noise. The shift is sought by correlation to a whole pixel, and then by least squares:
//
//	B(u + shift) = α A(u) + β
//
// so that it does not depend on exposure. The uncertainty is by what that leaves, in blocks
// of 4 × 4 px, and 0.03 px for interpolation. Places where it exceeds 0.25 px along either
// axis have no answer; nor have those whose patches correlate by less than 0.8, or at two
// shifts, or at the end of Reach.
//
// A turn of B is fitted to the shifts by robust least squares, in which places differ by 0.1
// px beside their uncertainties. Its uncertainty is by the scatter between places. What
// differs between parts of the overlap is left in Rests.
//
// Plates of other sizes than their cameras, and fewer than 6 places with an answer, are an
// error.
func MeasureSeam[T Sample](a, b Plate[T], spec SeamSpec) (Seam, error) {
	c := newChecker()
	a.check(c, "plate a")
	b.check(c, "plate b")
	if len(a.Channels) != len(b.Channels) {
		c.Fault("plate b: channels", strconv.Itoa(len(b.Channels)), "must be as many as those of plate a, %d", len(a.Channels))
	}
	if spec.Patch == 0 {
		spec.Patch = 32
	}
	if spec.Reach == 0 {
		spec.Reach = 8
	}
	c.Int("patch", spec.Patch, "px", 8, 128)
	c.Int("reach", spec.Reach, "px", 1, 32)
	c.Int("places", len(spec.Places), "", 0, mostPlaces)
	for _, d := range spec.Places {
		if c.OK() {
			c.Number("place: length", r3.Norm(d), "", valid.Closed(1-1e-6, 1+1e-6))
		}
	}
	if err := c.Err(); err != nil {
		return Seam{}, err
	}
	width, height := b.Camera.Size()
	middle, ok := tangentAt(b.Camera, float64(width)/2, float64(height)/2)
	if !ok {
		return Seam{}, newChecker().Refuse("plate b: camera", "sees nothing at the centre of its raster", "must do so, for the axes of its turn")
	}
	var s Seam
	var tangents []tangent
	m := newMatcher(a, b, spec)
	visit := func(t tangent) {
		x, y, ok := a.position(t.dir)
		if _, _, seen := b.position(t.dir); !ok || !seen {
			return
		}
		across, down, ok := m.match(t)
		if !ok {
			s.Unanswered++
			return
		}
		s.Shifts = append(s.Shifts, Shift{t.dir, x, y, across, down})
		tangents = append(tangents, t)
	}
	if spec.Places == nil {
		grid(a.Camera, gridStep(a.Camera, max(1, spec.Patch*3/4), 64), func(t tangent, _, _ int) { visit(t) })
	}
	for _, d := range spec.Places {
		if x, y, ok := a.position(d); ok {
			if t, ok := tangentAt(a.Camera, x, y); ok {
				visit(t)
			}
		}
	}
	if len(s.Shifts) < fewShifts {
		return Seam{}, newChecker().Refuse("overlap", strconv.Itoa(len(s.Shifts))+" of "+strconv.Itoa(len(s.Shifts)+s.Unanswered)+" places", "must have at least %d with detail that both plates show alike", fewShifts)
	}
	s.Median, s.Worst = lengths(s.Shifts)
	if !s.split(tangents, middle, float64(spec.Patch)) {
		return Seam{}, newChecker().Refuse("overlap", strconv.Itoa(len(s.Shifts))+" places", "must be wide enough to tell the turns apart")
	}
	s.MedianRest, s.WorstRest = lengths(s.Rests)
	return s, nil
}

func lengths(shifts []Shift) (middle, worst float64) {
	var all []float64
	for _, s := range shifts {
		all = append(all, s.length())
		worst = math.Max(worst, s.length())
	}
	return estimate.Median(all), worst
}

// split fits the turn of B to the shifts and leaves the rests. middle holds B's axes, patch
// is the side of the patches.
func (s *Seam) split(tangents []tangent, middle tangent, patch float64) bool {
	ahead := r3.Unit(middle.dir)
	right := r3.Unit(r3.Sub(middle.across, r3.Scale(r3.Dot(middle.across, ahead), ahead)))
	up := r3.Cross(right, ahead)
	// Turned by ω, B shows at d − ω × d what it believes to be at d.
	axes := [3]r3.Vec{r3.Scale(-1, up), right, ahead} // of heading, elevation, roll
	n := len(tangents)
	across, down := make([][3]float64, n), make([][3]float64, n)
	precision := make([][2]float64, n) // of both numbers of a place
	for i, t := range tangents {
		for k, axis := range axes {
			across[i][k], down[i][k] = t.shift(r3.Scale(-1, r3.Cross(axis, t.dir)))
		}
		u, v := s.Shifts[i].Across.Uncertainty, s.Shifts[i].Down.Uncertainty
		precision[i] = [2]float64{1 / (u*u + unlike*unlike), 1 / (v*v + unlike*unlike)}
	}
	var turn [3]float64
	rest := func(i int) (u, v float64) {
		u, v = s.Shifts[i].Across.Value, s.Shifts[i].Down.Value
		for k, w := range turn {
			u -= w * across[i][k]
			v -= w * down[i][k]
		}
		return u, v
	}
	const rayleigh = 1.17741 // median of the length of two normal deviates
	var inverse mat.SymDense
	weight, scaled := make([]float64, n), make([]float64, n)
	for round := range 20 {
		for i, p := range precision {
			u, v := rest(i)
			scaled[i] = math.Sqrt(u*u*p[0] + v*v*p[1])
		}
		scale := math.Max(0.5, estimate.Median(slices.Clone(scaled))/rayleigh)
		normal, target := mat.NewSymDense(3, nil), mat.NewVecDense(3, nil)
		for i, z := range scaled {
			if weight[i] = tukey(z / scale); round == 0 {
				weight[i] = 1 / (1 + z) // nothing is known of the turn
			}
			wu, wv := weight[i]*precision[i][0], weight[i]*precision[i][1]
			for k := range turn {
				target.SetVec(k, target.AtVec(k)+wu*across[i][k]*s.Shifts[i].Across.Value+wv*down[i][k]*s.Shifts[i].Down.Value)
				for l := k; l < 3; l++ {
					normal.SetSym(k, l, normal.At(k, l)+wu*across[i][k]*across[i][l]+wv*down[i][k]*down[i][l])
				}
			}
		}
		var factor mat.Cholesky
		if !factor.Factorize(normal) || factor.InverseTo(&inverse) != nil {
			return false
		}
		for k := range turn {
			turn[k] = 0
			for l := range turn {
				turn[k] += inverse.At(k, l) * target.AtVec(l)
			}
		}
	}
	// How each place pulls at the turn, and how far it pulls the fit to itself.
	pulls, lever := make([][3]float64, n), make([]float64, n)
	for i := range tangents {
		left := s.Shifts[i]
		left.Across.Value, left.Down.Value = rest(i)
		s.Rests = append(s.Rests, left)
		wu, wv := weight[i]*precision[i][0], weight[i]*precision[i][1]
		for k := range turn {
			for l := range turn {
				pulls[i][k] += inverse.At(k, l) * (wu*across[i][l]*left.Across.Value + wv*down[i][l]*left.Down.Value)
				lever[i] += inverse.At(k, l) * (wu*across[i][k]*across[i][l] + wv*down[i][k]*down[i][l])
			}
		}
	}
	// The sandwich. Patches share their errors as far as they overlap.
	overlap := func(i, j int) float64 {
		a, b := s.Shifts[i], s.Shifts[j]
		return math.Max(0, 1-math.Abs(a.X-b.X)/patch) * math.Max(0, 1-math.Abs(a.Y-b.Y)/patch)
	}
	for i := range pulls {
		own := 0.0
		for j := range pulls {
			own += overlap(i, j) * lever[j]
		}
		for k := range pulls[i] {
			pulls[i][k] /= 1 - math.Min(own, mostLever) // as a jackknife that leaves out places
		}
	}
	var between [3]float64
	for i := range pulls {
		for j := range pulls {
			shared := overlap(i, j)
			for k := range between {
				between[k] += shared * pulls[i][k] * pulls[j][k]
			}
		}
	}
	for k, e := range []*AngleEstimate{&s.Heading, &s.Elevation, &s.Roll} {
		*e = AngleEstimate{unit.Angle(turn[k]), unit.Angle(math.Sqrt(math.Max(between[k], inverse.At(k, k))))}
	}
	return true
}

// matcher finds the shift of a patch.
type matcher[T Sample] struct {
	a, b         Plate[T]
	inA, inB     []Plane[T]
	patch, reach int
	small, moved []float64 // patch × patch samples of A, and of B
	large        []float64 // of B, reach farther to all sides
	similarities []float64
}

func newMatcher[T Sample](a, b Plate[T], spec SeamSpec) *matcher[T] {
	n, wide := spec.Patch, spec.Patch+2*spec.Reach
	middle := len(a.Channels) / 2
	return &matcher[T]{
		a: a, b: b, inA: a.Channels[middle : middle+1], inB: b.Channels[middle : middle+1],
		patch: n, reach: spec.Reach,
		small: make([]float64, n*n), moved: make([]float64, n*n), large: make([]float64, wide*wide),
		similarities: make([]float64, (2*spec.Reach+1)*(2*spec.Reach+1)),
	}
}

// sample puts a square raster about a place, moved by (du, dv), into out. It is blurred by
// ¼, ½, ¼ along rows and columns: that takes away more of the noise than of most detail, and
// most of what interpolation does.
func (m *matcher[T]) sample(p *Plate[T], channel []Plane[T], t tangent, side int, du, dv float64, out []float64) bool {
	var light [1]float64
	middle := float64(side-1) / 2
	for j := range side + 2 {
		last := [2]float64{} // of the row
		for i := range side + 2 {
			if !p.light(t.at(float64(i-1)-middle+du, float64(j-1)-middle+dv), channel, light[:]) {
				return false
			}
			if i >= 2 {
				v := (last[0] + 2*last[1] + light[0]) / 4
				for k, weight := range [3]float64{0.25, 0.5, 0.25} { // rows j − 2 to j
					switch y := j - 2 + k; {
					case y < 0 || y >= side:
					case k == 2:
						out[y*side+i-2] = weight * v
					default:
						out[y*side+i-2] += weight * v
					}
				}
			}
			last[0], last[1] = last[1], light[0]
		}
	}
	return true
}

// match gives the shift at a place. ok is false if there is no answer.
func (m *matcher[T]) match(t tangent) (across, down Estimate, ok bool) {
	wide := m.patch + 2*m.reach
	if !m.sample(&m.a, m.inA, t, m.patch, 0, 0, m.small) || !m.sample(&m.b, m.inB, t, wide, 0, 0, m.large) {
		return across, down, false
	}
	u, v, ok := m.whole()
	if !ok {
		return across, down, false
	}
	du, dv := float64(u), float64(v)
	for range 8 {
		if !m.sample(&m.b, m.inB, t, m.patch, du, dv, m.moved) {
			return across, down, false
		}
		stepU, stepV, uu, uv, ok := m.refine()
		du += stepU
		dv += stepV
		if !ok || !(math.Hypot(du-float64(u), dv-float64(v)) < 1.5) {
			return across, down, false
		}
		if math.Hypot(stepU, stepV) < 1e-4 {
			return Estimate{Value: du, Uncertainty: uu}, Estimate{Value: dv, Uncertainty: uv}, uu <= mostUnsure && uv <= mostUnsure
		}
	}
	return across, down, false
}

// whole is the shift in whole pixels by correlation. ok is false if it is not the only one.
func (m *matcher[T]) whole() (u, v int, ok bool) {
	n, shifts := m.patch, 2*m.reach+1
	wide := n + 2*m.reach
	count := float64(n * n)
	var mean, squares float64
	for _, x := range m.small {
		mean += x / count
	}
	for _, x := range m.small {
		squares += (x - mean) * (x - mean)
	}
	best := 0
	for k := range m.similarities {
		u, v := k%shifts, k/shifts
		var sum, own, both float64
		for j := range n {
			row := m.large[(j+v)*wide+u:]
			for i, x := range m.small[j*n : (j+1)*n] {
				y := row[i]
				sum += y
				own += y * y
				both += (x - mean) * y
			}
		}
		m.similarities[k] = both / math.Sqrt(squares*(own-sum*sum/count))
		if m.similarities[k] > m.similarities[best] {
			best = k
		}
	}
	u, v = best%shifts, best/shifts
	peak := m.similarities[best]
	if !(peak >= leastAlike) || u == 0 || v == 0 || u == shifts-1 || v == shifts-1 {
		return 0, 0, false
	}
	for k, s := range m.similarities {
		// Another peak, and not the flank of this one.
		i, j := k%shifts, k/shifts
		if s > mostRepeating*peak && max(abs(i-u), abs(j-v)) > 2 && i > 0 && j > 0 && i < shifts-1 && j < shifts-1 &&
			s > m.similarities[k-1] && s > m.similarities[k+1] && s > m.similarities[k-shifts] && s > m.similarities[k+shifts] {
			return 0, 0, false
		}
	}
	return u - m.reach, v - m.reach, true
}

func abs(x int) int { return max(x, -x) }

// refine gives the next step of a shift, and the uncertainties.
func (m *matcher[T]) refine() (stepU, stepV, uncertainU, uncertainV float64, ok bool) {
	n := m.patch
	// B's mean and deviation over A's: α, to weigh their slopes alike.
	var meanA, meanB, aa, ab float64
	for i := range m.small {
		meanA += m.small[i] / float64(n*n)
		meanB += m.moved[i] / float64(n*n)
	}
	for i := range m.small {
		aa += (m.small[i] - meanA) * (m.small[i] - meanA)
		ab += (m.small[i] - meanA) * (m.moved[i] - meanB)
	}
	alpha := ab / aa
	normal, target := mat.NewSymDense(4, nil), mat.NewVecDense(4, nil)
	row := func(k int) [4]float64 {
		u := (m.moved[k+1] - m.moved[k-1] + alpha*(m.small[k+1]-m.small[k-1])) / 4
		v := (m.moved[k+n] - m.moved[k-n] + alpha*(m.small[k+n]-m.small[k-n])) / 4
		return [4]float64{-u, -v, m.small[k] - meanA, 1}
	}
	inside := func(visit func(i, j, k int)) {
		for j := 1; j < n-1; j++ {
			for i := 1; i < n-1; i++ {
				visit(i, j, j*n+i)
			}
		}
	}
	inside(func(_, _, k int) {
		r := row(k)
		for p, x := range r {
			target.SetVec(p, target.AtVec(p)+x*(m.moved[k]-meanB))
			for q := p; q < 4; q++ {
				normal.SetSym(p, q, normal.At(p, q)+x*r[q])
			}
		}
	})
	var factor mat.Cholesky
	var inverse mat.SymDense
	if !factor.Factorize(normal) || factor.InverseTo(&inverse) != nil {
		return 0, 0, 0, 0, false
	}
	var fit [4]float64
	for p := range fit {
		for q := range fit {
			fit[p] += inverse.At(p, q) * target.AtVec(q)
		}
	}
	blocks := (n - 2 + seamBlock - 1) / seamBlock
	pulls := make([][2]float64, blocks*blocks)
	var squares float64
	inside(func(i, j, k int) {
		r := row(k)
		left := m.moved[k] - meanB
		for p, x := range r {
			left -= fit[p] * x
		}
		squares += left * left
		block := &pulls[(j-1)/seamBlock*blocks+(i-1)/seamBlock]
		for p, x := range r {
			block[0] += inverse.At(0, p) * x * left
			block[1] += inverse.At(1, p) * x * left
		}
	})
	variance := squares / float64((n-2)*(n-2)-4)
	var between [2]float64
	for _, p := range pulls {
		between[0] += p[0] * p[0]
		between[1] += p[1] * p[1]
	}
	count := float64(len(pulls))
	var u [2]float64
	for p := range u {
		scatter := between[p]
		if count > 4 {
			scatter *= math.Pow(count/(count-4), 2)
		}
		u[p] = math.Hypot(math.Sqrt(math.Max(scatter, neighbours*variance*inverse.At(p, p))), leastShiftU)
	}
	return fit[0], fit[1], u[0], u[1], fit[2] > 0
}
