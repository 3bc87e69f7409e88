package rig

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"example.com/platewright/internal/orient"
	"example.com/platewright/internal/root"
	"example.com/platewright/internal/sphere"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// Seam is a connected curve on the sphere of directions along which the plates of two
// cameras join.
//
// Plates are taken to be blended by their margins: each direction belongs to the camera
// that sees it with the greatest Margin. A seam is the border between two such
// territories. Along most seams the margins of the two cameras are equal, and no third
// camera has a greater one. Where Cut is true the seam is the edge of an occluder's
// shadow: there one camera loses sight of the direction, and the other takes over
// whatever the margins are.
type Seam struct {
	A, B   int  // cameras, A < B
	Cut    bool // the seam is the edge of a shadow
	Closed bool // the last point is joined to the first
	// Points are on the curve, in order. As seen from inside the sphere, A's side is
	// to the left of the way from one point to the next.
	Points []SeamPoint
}

// SeamPoint is a point of a Seam.
type SeamPoint struct {
	Dir r3.Vec // of length 1, in the stage frame
	// IntoA is the angle by which B sees into A's side, at right angles to the seam.
	// IntoB is the angle by which A sees into B's side. Their sum is the width of the
	// overlap. A blend has at most the smaller of the two to either side.
	IntoA, IntoB unit.Angle
}

// Length gives the length of the curve on the sphere: the sum of the arcs between its
// points.
func (s Seam) Length() unit.Angle {
	sum := 0.0
	for i := 1; i < len(s.Points); i++ {
		sum += sphere.Angle(s.Points[i-1].Dir, s.Points[i].Dir)
	}
	if n := len(s.Points); s.Closed && n > 1 {
		sum += sphere.Angle(s.Points[n-1].Dir, s.Points[0].Dir)
	}
	return unit.Angle(sum)
}

// Shared gives the solid angle that two cameras both see. The tolerance, in sr, is that
// of Coverage. What Coverage refuses is an error, and so are an i and a j that are not
// two cameras of the rig.
func (r Rig) Shared(i, j int, tolerance float64) (SolidAngle, error) {
	v := valid.New("rig", ErrInvalid)
	r.checkTolerance(v, tolerance)
	r.checkCameras(v, "pair", i, j)
	if err := v.Err(); err != nil {
		return SolidAngle{}, err
	}
	c := Rig{[]region{r.regions[i], r.regions[j]}}.coverage(tolerance)
	return SolidAngle{c.AtLeast[1], c.Error, c.OK}, nil
}

// checkCameras reports an i and a j that are not two cameras of the rig.
func (r Rig) checkCameras(v *valid.Checker, name string, i, j int) (ok bool) {
	n := len(r.regions)
	if ok = i != j && min(i, j) >= 0 && max(i, j) < n; !ok {
		v.Fault(name, fmt.Sprintf("of cameras %d and %d", i, j), "must be of two of %d cameras", n)
	}
	return ok
}

const (
	// seamGrid is how many triangles of the grid lie along an edge of an octant.
	seamGrid = 256
	// seamTolerance, rad, is how far an arc between two points of a seam may be from
	// the seam; points are added until half-way between two it is a quarter of that.
	seamTolerance = 0.01 * math.Pi / 180
	// seamStep, rad, is how far a curve is followed at once.
	seamStep = 0.1 * math.Pi / 180
	// seamReach bounds, in steps, how far beyond the grid a curve is followed.
	seamReach = 100
	// overlapStep, rad, is how far apart the directions are in which the width of an
	// overlap is looked for.
	overlapStep = 0.5 * math.Pi / 180
	// handicap, of the longest side of a raster for each place in the array, settles
	// ties: of cameras with equal margins all over a region the first has it. Rounding
	// is less.
	handicap = 4e-15
)

// Seams finds all curves along which the plates of the rig join: the borders between the
// territories of every two cameras. They are sorted by A and B, those that are not Cut
// first. Equal rigs give them in the same order.
//
// A camera of small margins may have no seam. Margins are in px of each camera, and a
// long lens inside the field of a wide one is near its own edge everywhere: if the wide
// lens has the greater margin in each direction, the long lens owns none. Seams then does
// not say where its plate lies on the other. Its border is the edge of its own raster:
// go along that edge with Camera.Unproject. Rig.Shared gives the solid angle of the
// common area, Rig.Count tells of a direction whether it is inside, and Rig.Best and
// Rig.PushIn take the long lens wherever it is the finer one. In a blend give the long
// lens priority.
//
// At the points the margins are equal to 1e-8 px. The points, ends included, are within
// 1e-9 rad of the curve. Where the margins of the two cameras are nearly equal over a
// wider area, the curve is not as sharp, and the points may be farther from it. The
// great circles between points are within 0.01° of the curve.
//
// Borders are searched on a grid of triangles up to 0.55° wide, and followed to their
// ends from there. A territory, or a gap in one, that lies between the points of the
// grid is missed. Where a border turns back within a triangle, an arc may cut the
// corner. Where a border crosses itself, the grid decides which branches make one Seam.
// IntoA and IntoB ignore gaps narrower than 0.5°.
//
// If the margins of cameras are equal all over a region, as for two cameras of one pose,
// the region belongs to the first of them. The zero Rig has no seams.
func (r Rig) Seams() []Seam {
	t := newTerritories(r)
	var seams []Seam
	for _, c := range t.curves() {
		s := Seam{A: c.a, B: c.b, Cut: c.kind != level, Closed: c.closed, Points: make([]SeamPoint, len(c.points))}
		for i, p := range c.points {
			s.Points[i].Dir = p
		}
		if s.Length() < seamTolerance {
			continue
		}
		t.orient(&s, c.border)
		for i := range s.Points {
			t.overlap(&s, i)
		}
		seams = append(seams, s)
	}
	slices.SortStableFunc(seams, func(s, t Seam) int {
		cut := func(s Seam) int {
			if s.Cut {
				return 1
			}
			return 0
		}
		return cmp.Or(cmp.Compare(s.A, t.A), cmp.Compare(s.B, t.B), cmp.Compare(cut(s), cut(t)))
	})
	return seams
}

// territories tells which camera owns a direction.
type territories struct {
	regions []region
	near    []float64 // cosine of the reach of each camera, a little less
	least   []float64 // the margin from which on each camera sees, by its handicap, px
}

func newTerritories(r Rig) *territories {
	n := len(r.regions)
	t := &territories{regions: r.regions, near: make([]float64, n), least: make([]float64, n)}
	longest := 0
	for _, g := range r.regions {
		longest = max(longest, g.c.width, g.c.height)
	}
	for i := range r.regions {
		t.least[i] = -handicap * float64(longest) * float64(i)
		t.near[i] = math.Cos(min(math.Pi, max(0, r.regions[i].reach)+1e-6)) - 1e-9
	}
	return t
}

// margin is the Margin of camera i in direction d, less its handicap. Occluders are
// ignored. d has length 1.
func (t *territories) margin(i int, d r3.Vec) float64 {
	c := t.regions[i].c
	x, y, ok := c.Project(d)
	if !ok {
		return math.Inf(-1)
	}
	return c.Margin(x, y) + t.least[i]
}

func (t *territories) hidden(i int, d r3.Vec) bool { return t.regions[i].hidden(d) }

func (t *territories) sees(i int, d r3.Vec) bool {
	return t.margin(i, d) >= t.least[i] && !t.hidden(i, d)
}

// owner is the camera that owns a direction, or −1 if none sees it.
func (t *territories) owner(d r3.Vec) int {
	owner, best := -1, math.Inf(-1)
	for i := range t.regions {
		if r3.Dot(t.regions[i].c.ahead, d) < t.near[i] {
			continue
		}
		if m := t.margin(i, d); m >= t.least[i] && m > best && !t.hidden(i, d) {
			owner, best = i, m
		}
	}
	return owner
}

// The kinds of borders of the territories of cameras a and b.
const (
	level = iota // the margins are equal
	cutA         // a is hidden beyond
	cutB         // b is hidden before
)

type border struct{ a, b, kind int }

// before reports whether d is on a's side of the border or of its continuation.
func (t *territories) before(b border, d r3.Vec) bool {
	switch b.kind {
	case cutA:
		return !t.hidden(b.a, d)
	case cutB:
		return t.hidden(b.b, d)
	}
	return t.margin(b.a, d) > t.margin(b.b, d)
}

// joins reports whether the two territories meet at d, a point of the border or of its
// continuation.
func (t *territories) joins(b border, d r3.Vec) bool {
	const slack = 1e-8 // px: how far off the border the point may be
	ma, mb := t.margin(b.a, d), t.margin(b.b, d)
	if !(ma >= t.least[b.a]-slack && mb >= t.least[b.b]-slack) {
		return false
	}
	most := min(ma, mb)
	switch b.kind {
	case level:
		if t.hidden(b.a, d) || t.hidden(b.b, d) {
			return false
		}
	case cutA:
		if ma < mb-slack || t.hidden(b.b, d) {
			return false
		}
	case cutB:
		if mb < ma-slack || t.hidden(b.a, d) {
			return false
		}
	}
	for i := range t.regions {
		if i == b.a || i == b.b || r3.Dot(t.regions[i].c.ahead, d) < t.near[i] {
			continue
		}
		if m := t.margin(i, d); m >= t.least[i] && m > most+slack && !t.hidden(i, d) {
			return false
		}
	}
	return true
}

// cross finds a crossing of the border between p, on a's side, and q, on b's. It halves
// until p and q are neighbouring directions, which takes fewer steps than the fixed
// number of root.Boundary.
func (t *territories) cross(b border, p, q r3.Vec) r3.Vec {
	for range 60 {
		m := sphere.Unit(r3.Add(p, q))
		if m == p || m == q {
			break
		}
		if t.before(b, m) {
			p = m
		} else {
			q = m
		}
	}
	return p
}

// classify finds a border between p, which a owns, and q, which b owns, and where it
// crosses the arc between them.
func (t *territories) classify(a, b int, p, q r3.Vec) (border, r3.Vec) {
	if len(t.regions[a].shadows) == 0 { // then b has none either
		l := border{a, b, level}
		return l, t.cross(l, p, q)
	}
	for range 50 {
		m := sphere.Unit(r3.Add(p, q))
		ma, mb := t.margin(a, m), t.margin(b, m)
		switch ha, hb := t.hidden(a, m), t.hidden(b, m); {
		case ha != hb:
			if hb {
				p = m
			} else {
				q = m
			}
		case ma > mb:
			p = m
		default:
			q = m
		}
	}
	switch {
	case t.hidden(a, q) && !t.hidden(a, p):
		return border{a, b, cutA}, p
	case t.hidden(b, p) && !t.hidden(b, q):
		return border{a, b, cutB}, p
	}
	return border{a, b, level}, p
}

// curve is a connected piece of a border.
type curve struct {
	border
	points []r3.Vec
	closed bool
}

// crossing is where a border crosses an edge of the grid. It is linked to those of
// the same border on the other edges of the two triangles that share the edge.
type crossing struct {
	border
	at    r3.Vec
	links [2]int
	n     int
	done  bool
}

// curves finds the borders on the grid and follows each to its ends.
func (t *territories) curves() []curve {
	chains := t.chains()
	// Keep the pieces along which territories meet, and group them by border.
	var pieces []curve
	for _, c := range chains {
		pieces = append(pieces, t.pieces(t.refine(c))...)
	}
	groups := map[border][]int{}
	for i, c := range pieces {
		groups[c.border] = append(groups[c.border], i)
	}
	var curves []curve
	gone := make([]bool, len(pieces))
	for i := range pieces {
		if gone[i] {
			continue
		}
		c := pieces[i]
		gone[i] = true
		for range 2 {
			t.extend(&c, pieces, groups[c.border], gone)
			slices.Reverse(c.points)
		}
		curves = append(curves, t.refine(c))
	}
	return curves
}

// chains are the borders found on the grid: one point for each edge of a triangle whose
// ends have different owners.
func (t *territories) chains() []curve {
	g := newGrid()
	owners := make([]int8, len(g.at))
	for i, d := range g.at {
		if d != (r3.Vec{}) {
			owners[i] = int8(t.owner(d))
		}
	}
	var nodes []crossing
	index := map[[2]int32]int{}
	node := func(i, j int32) int {
		if owners[i] > owners[j] {
			i, j = j, i
		}
		k, known := index[[2]int32{i, j}]
		if !known {
			k = len(nodes)
			index[[2]int32{i, j}] = k
			b, at := t.classify(int(owners[i]), int(owners[j]), g.at[i], g.at[j])
			nodes = append(nodes, crossing{border: b, at: at})
		}
		return k
	}
	g.triangles(func(v [3]int32) {
		var found [3]int
		n := 0
		for k := range 3 {
			i, j := v[k], v[(k+1)%3]
			if owners[i] != owners[j] && owners[i] >= 0 && owners[j] >= 0 {
				found[n] = node(i, j)
				n++
			}
		}
		// Of three cameras, or of two and none, the borders end in the triangle.
		if n != 2 || owners[v[0]] < 0 || owners[v[1]] < 0 || owners[v[2]] < 0 {
			return
		}
		p, q := &nodes[found[0]], &nodes[found[1]]
		if p.border == q.border {
			p.links[p.n], q.links[q.n] = found[1], found[0]
			p.n++
			q.n++
		}
	})
	var chains []curve
	follow := func(i int) {
		c := curve{border: nodes[i].border}
		for {
			n := &nodes[i]
			n.done = true
			c.points = append(c.points, n.at)
			next := -1
			for _, k := range n.links[:n.n] {
				if !nodes[k].done {
					next = k
					break
				}
			}
			if next < 0 {
				break
			}
			i = next
		}
		chains = append(chains, c)
	}
	for i := range nodes {
		if !nodes[i].done && nodes[i].n < 2 {
			follow(i)
		}
	}
	for i := range nodes {
		if !nodes[i].done { // of a loop
			follow(i)
			chains[len(chains)-1].closed = true
		}
	}
	return chains
}

// refine adds points of the border until the great circles between points are within
// seamTolerance of it.
func (t *territories) refine(c curve) curve {
	points := c.points
	c.points = nil
	var add func(p, q r3.Vec, depth int)
	add = func(p, q r3.Vec, depth int) {
		if m, off, ok := t.middle(c.border, p, q); ok && depth > 0 && off > seamTolerance/4 {
			add(p, m, depth-1)
			c.points = append(c.points, m)
			add(m, q, depth-1)
		}
	}
	for i, p := range points {
		c.points = append(c.points, p)
		switch {
		case i+1 < len(points):
			add(p, points[i+1], 10)
		case c.closed:
			add(p, points[0], 10)
		}
	}
	return c
}

// middle looks along the great circle that crosses the arc from p to q at right angles
// in its middle. m is the crossing with the border nearest to the middle, and off its
// distance from there.
func (t *territories) middle(b border, p, q r3.Vec) (m r3.Vec, off float64, ok bool) {
	length := sphere.Angle(p, q)
	if length < 1e-7 {
		return m, 0, false
	}
	mid, across := sphere.Unit(r3.Add(p, q)), sphere.Unit(r3.Cross(p, q))
	at := func(h float64) r3.Vec {
		sin, cos := math.Sincos(h)
		return r3.Add(r3.Scale(cos, mid), r3.Scale(sin, across))
	}
	before := t.before(b, mid)
	last := [2]float64{}
	for h := seamTolerance / 4; ; h *= 2 {
		h = min(h, length)
		for k, sign := range [2]float64{1, -1} {
			if t.before(b, at(sign*h)) != before {
				in, out := at(last[k]), at(sign*h)
				if !before {
					in, out = out, in
				}
				m = t.cross(b, in, out)
				return m, sphere.Angle(m, mid), true
			}
			last[k] = sign * h
		}
		if h == length {
			return m, 0, false
		}
	}
}

// pieces are the parts of a curve along which the two territories meet.
func (t *territories) pieces(c curve) []curve {
	joins := make([]bool, len(c.points))
	first := -1 // that does not
	for i, p := range c.points {
		if joins[i] = t.joins(c.border, p); !joins[i] && first < 0 {
			first = i
		}
	}
	if first < 0 {
		return []curve{c}
	}
	start := 0
	if c.closed {
		start = first
	}
	var pieces []curve
	open := false
	for k := range c.points {
		i := (start + k) % len(c.points)
		switch {
		case !joins[i]:
			open = false
		case open:
			last := &pieces[len(pieces)-1]
			last.points = append(last.points, c.points[i])
		default:
			pieces = append(pieces, curve{border: c.border, points: []r3.Vec{c.points[i]}})
			open = true
		}
	}
	return pieces
}

// extend follows a curve beyond its last point to the end of the border. Other pieces
// of the border that it reaches are appended.
func (t *territories) extend(c *curve, pieces []curve, group []int, gone []bool) {
	if c.closed {
		return
	}
	for range seamReach {
		n := len(c.points)
		last := c.points[n-1]
		back := r3.Vec{} // the way not to go
		if n > 1 {
			back = r3.Sub(c.points[n-2], last)
		}
		next, ok := t.step(c.border, last, back, seamStep)
		if !ok || !t.joins(c.border, next) {
			// Nearer, by halving.
			low, high := 0.0, seamStep
			end := last
			for high-low > 1e-10 {
				r := (low + high) / 2
				if p, ok := t.step(c.border, last, back, r); ok && t.joins(c.border, p) {
					low, end = r, p
				} else {
					high = r
				}
			}
			if end != last {
				c.points = append(c.points, end)
			}
			return
		}
		c.points = append(c.points, next)
		if n > 2 && sphere.Angle(next, c.points[0]) < seamStep {
			c.closed = true
			return
		}
		for _, k := range group {
			if gone[k] || pieces[k].closed {
				continue
			}
			p := pieces[k].points
			switch {
			case sphere.Angle(next, p[0]) < seamStep:
			case sphere.Angle(next, p[len(p)-1]) < seamStep:
				slices.Reverse(p)
			default:
				continue
			}
			gone[k] = true
			c.points = append(c.points, p...)
			break
		}
	}
}

// step finds the next point of the border, at the distance r from p. The circle of that
// radius around p may cross the border several times; step takes the crossing whose
// direction from p differs most from back.
func (t *territories) step(b border, p, back r3.Vec, r float64) (next r3.Vec, ok bool) {
	const sides = 24
	x := r3.Cross(p, r3.Vec{X: 1})
	if math.Abs(p.X) > 0.7 {
		x = r3.Cross(p, r3.Vec{Y: 1})
	}
	x = sphere.Unit(x)
	if back != (r3.Vec{}) {
		x = sphere.Unit(r3.Sub(back, r3.Scale(r3.Dot(back, p), p)))
	}
	y := r3.Cross(p, x)
	sinR, cosR := math.Sincos(r)
	at := func(angle float64) r3.Vec {
		sin, cos := math.Sincos(angle)
		return r3.Add(r3.Scale(cosR, p), r3.Scale(sinR, r3.Add(r3.Scale(cos, x), r3.Scale(sin, y))))
	}
	// From the way ahead to both sides.
	ahead := t.before(b, at(math.Pi))
	last := [2]r3.Vec{at(math.Pi), at(math.Pi)}
	for k := 1; k < sides/2; k++ {
		for i, sign := range [2]float64{1, -1} {
			q := at(math.Pi + sign*2*math.Pi/sides*float64(k))
			if t.before(b, q) != ahead {
				if ahead {
					return t.cross(b, last[i], q), true
				}
				return t.cross(b, q, last[i]), true
			}
			last[i] = q
		}
	}
	return p, false
}

// orient turns a seam so that A's side is to the left.
func (t *territories) orient(s *Seam, b border) {
	left := 0
	for i := range s.Points {
		p, side := s.Points[i].Dir, s.left(i)
		if t.before(b, sphere.Unit(r3.Add(p, r3.Scale(1e-5, side)))) {
			left++
		}
		if !t.before(b, sphere.Unit(r3.Sub(p, r3.Scale(1e-5, side)))) {
			left++
		}
	}
	if left < len(s.Points) {
		slices.Reverse(s.Points)
	}
}

// left is the unit vector at right angles to the seam at point i, to the left.
func (s *Seam) left(i int) r3.Vec {
	n := len(s.Points)
	from, to := max(i-1, 0), min(i+1, n-1)
	if s.Closed {
		from, to = (i+n-1)%n, (i+1)%n
	}
	return sphere.Unit(r3.Cross(r3.Sub(s.Points[to].Dir, s.Points[from].Dir), s.Points[i].Dir))
}

// overlap sets IntoA and IntoB of point i.
func (t *territories) overlap(s *Seam, i int) {
	p := &s.Points[i]
	left := s.left(i)
	reach := func(camera int, sign float64) unit.Angle {
		at := func(h float64) r3.Vec {
			sin, cos := math.Sincos(sign * h)
			return r3.Add(r3.Scale(cos, p.Dir), r3.Scale(sin, left))
		}
		h := overlapStep
		for h < math.Pi && t.sees(camera, at(h)) {
			h += overlapStep
		}
		if h >= math.Pi {
			return math.Pi
		}
		return unit.Angle(root.Boundary(func(h float64) bool { return t.sees(camera, at(h)) }, h, h-overlapStep))
	}
	p.IntoA, p.IntoB = reach(s.B, 1), reach(s.A, -1)
}

// grid holds the points of a lattice on an octahedron, scaled to length 1. It is turned,
// since many rigs have seams in the planes of the coordinate axes.
type grid struct{ at []r3.Vec }

const gridSide = 2*seamGrid + 1

func (grid) index(x, y, z int) int32 {
	i := int32((x+seamGrid)*gridSide + y + seamGrid)
	if z < 0 {
		i += gridSide * gridSide
	}
	return i
}

func newGrid() grid {
	g := grid{make([]r3.Vec, 2*gridSide*gridSide)}
	axes := orient.FromAngles(0.3, 0.5, 0.7)
	for x := -seamGrid; x <= seamGrid; x++ {
		rest := seamGrid - max(x, -x)
		for y := -rest; y <= rest; y++ {
			z := rest - max(y, -y)
			for _, z := range [2]int{z, -z} {
				g.at[g.index(x, y, z)] = sphere.Unit(axes.ToStage(r3.Vec{X: float64(x), Y: float64(y), Z: float64(z)}))
			}
		}
	}
	return g
}

// triangles calls do with the indices of the corners of each triangle.
func (g grid) triangles(do func([3]int32)) {
	for octant := range 8 {
		sx, sy, sz := 1-octant&1*2, 1-octant&2, 1-octant&4/2
		at := func(i, j int) int32 { return g.index(sx*i, sy*j, sz*(seamGrid-i-j)) }
		for i := range seamGrid {
			for j := range seamGrid - i {
				do([3]int32{at(i, j), at(i+1, j), at(i, j+1)})
				if i+j < seamGrid-1 {
					do([3]int32{at(i+1, j), at(i, j+1), at(i+1, j+1)})
				}
			}
		}
	}
}
