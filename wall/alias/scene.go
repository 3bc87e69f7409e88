package alias

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"example.com/platewright/internal/parallel"
	"example.com/platewright/internal/root"
	"example.com/platewright/internal/valid"
	"example.com/platewright/wall"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// Camera maps directions of the stage frame to places in a picture, in photosites,
// and back. ok is false outside the picture. A camera of package projection is one.
type Camera interface {
	Size() (width, height int)
	Project(dir r3.Vec) (x, y float64, ok bool)
	Unproject(x, y float64) (dir r3.Vec, ok bool)
}

// Shot is a camera on the stage with what samples its picture.
type Shot struct {
	Eye        r3.Vec // the entrance pupil, in metres in the stage frame
	Camera     Camera
	Photosites Photosites

	// Transfer is the optical transfer function of the lens at a frequency in cycles
	// per photosite, as in Spec. way leads from the eye to the emitters, in metres in
	// the stage frame, so that focus can enter. Nil means no loss.
	Transfer func(nu r2.Vec, way r3.Vec) float64
}

// Surface is a wall and the shape of its emitters. A stage of panels has one surface for
// each, made by wall.Rectangle.Wall.
type Surface struct {
	Wall     wall.Wall
	Emitters Emitters
}

// SceneSpec describes walls and who looks at their picture.
type SceneSpec struct {
	Surfaces []Surface // one or more
	Viewer   Viewer

	// Order is the number of harmonics of the pixel grid, as in Spec. 0 means 64, which
	// costs a map little. The higher harmonics of a grid that is resolved alias too;
	// Node.Incomplete tells where the order is too low.
	Order int
}

// Scene answers where the pixel grids of walls alias in a camera's picture, made by
// NewScene. The nearest wall with its lit side to the camera is seen; other things,
// and backs of walls, hide none. Its methods are safe for concurrent use if those of
// Camera and Transfer are. The zero Scene has no walls.
type Scene struct {
	surfaces []series
	order    int
	sight    sight
}

// series is a Surface with its harmonics.
type series struct {
	Surface
	harmonics []harmonic
}

// NewScene makes a Scene from a spec.
func NewScene(spec SceneSpec) (Scene, error) {
	c := valid.New("alias", ErrInvalid)
	if len(spec.Surfaces) == 0 {
		c.Unset("surfaces")
	}
	for i, s := range spec.Surfaces {
		c.Add(fmt.Sprintf("surface %d", i), checkSurface(s))
	}
	if spec.Order == 0 {
		spec.Order = maxOrder
	}
	checkOrder(c, spec.Order)
	spec.Viewer.check(c)
	if !c.OK() {
		return Scene{}, c.Err()
	}
	s := Scene{order: spec.Order, sight: newSight(spec.Viewer)}
	shared := map[Emitters][]harmonic{} // by the panels of one type
	for _, surface := range spec.Surfaces {
		harmonics := shared[surface.Emitters]
		if harmonics == nil {
			harmonics = surface.Emitters.harmonics(spec.Order)
			shared[surface.Emitters] = harmonics
		}
		s.surfaces = append(s.surfaces, series{surface, harmonics})
	}
	return s, nil
}

func checkSurface(s Surface) error {
	c := valid.New("alias", ErrInvalid)
	if width, _ := s.Wall.Size(); width == 0 {
		c.Fault("wall", "zero value", "must come from wall.New")
	}
	s.Emitters.check(c)
	return c.Err()
}

// look is a Shot that is ready: what its eye sees of every wall.
type look struct {
	*Scene
	Shot
	plane plane
	views []wall.View // of the surfaces; the zero View of one that the eye does not see
}

func (s *Scene) look(shot Shot) (*look, error) {
	c := valid.New("alias", ErrInvalid)
	for i, v := range [3]float64{shot.Eye.X, shot.Eye.Y, shot.Eye.Z} {
		c.Length("eye "+"xyz"[i:i+1], unit.Length(v), valid.Coordinates)
	}
	if valid.Absent(shot.Camera) {
		c.Unset("camera")
	}
	shot.Photosites.check(c)
	if !c.OK() {
		return nil, c.Err()
	}
	l := &look{Scene: s, Shot: shot, plane: newPlane(shot.Photosites), views: make([]wall.View, len(s.surfaces))}
	for i := range s.surfaces {
		// The one error left is an eye that is behind every panel.
		l.views[i], _ = s.surfaces[i].Wall.View(shot.Eye)
	}
	return l, nil
}

// seen is the place of a wall that a place in the picture shows.
type seen struct {
	surface int
	x, y    float64 // pixels of the wall
	way     r3.Vec
	grid    wall.Grid
	sight   wall.Sight
}

func (l *look) at(x, y float64) seen {
	best := seen{sight: wall.OutsideRaster}
	dir, ok := l.Camera.Unproject(x, y)
	if !ok {
		return best
	}
	nearest := math.Inf(1)
	for i := range l.surfaces {
		w := l.surfaces[i].Wall
		wx, wy, ok := w.Pixel(l.Eye, dir)
		if !ok {
			continue
		}
		p, _ := w.Point(wx, wy)
		way := r3.Sub(p, l.Eye)
		if distance := r3.Norm2(way); distance < nearest {
			nearest = distance
			best = seen{surface: i, x: wx, y: wy, way: way, sight: wall.Seen}
		}
	}
	if best.sight == wall.Seen {
		best.grid, best.sight = l.views[best.surface].ImageGrid(l.Camera, best.x, best.y)
	}
	return best
}

// Aliases are the components that Predict gives at a place in a shot's picture. why
// is Seen, or says why there are none: OutsideRaster where the camera sees no wall,
// and OutsidePicture or Uneven as wall.View.ImageGrid explains. A fault of the shot, or
// a Transfer outside −1 to 1, is an error.
func (s Scene) Aliases(shot Shot, x, y float64) (all []Alias, why wall.Sight, err error) {
	l, err := s.look(shot)
	if err != nil {
		return nil, 0, err
	}
	at := l.at(x, y)
	if at.sight != wall.Seen {
		return nil, at.sight, nil
	}
	spec := Spec{Grid: at.grid, Emitters: s.surfaces[at.surface].Emitters, Photosites: shot.Photosites, Order: s.order}
	if shot.Transfer != nil {
		spec.Transfer = func(nu r2.Vec) float64 { return shot.Transfer(nu, at.way) }
	}
	all, err = Predict(spec)
	return all, wall.Seen, err
}

// Node is the worst alias at a place in a picture.
type Node struct {
	X, Y    float64 // photosites
	Sight   wall.Sight
	Surface int // index in SceneSpec.Surfaces

	// Alias is the most visible component that is not Resolved. If all are resolved,
	// it is the strongest of those, or zero if the lens leaves nothing.
	Alias Alias

	// Visibility is the contrast of the alias over the viewer's Threshold at the
	// frequency of Pattern. Above 1 it is visible. A resolved grid has 0.
	Visibility float64

	// Incomplete says that harmonics beyond SceneSpec.Order may be visible. Of harmonic
	// m beyond it in a row of the wall, emitters and photosites leave at most
	//
	//	2/(π m lit width) · min(1, √2/(π Photosites.Width |ν|)),  |ν| ≥ m/|Across|
	//
	// and so for columns. Transfer is taken to leave no more of it than at the least |ν|
	// of the next three m, along the row.
	Incomplete bool
}

// worst gives a Node. It takes the harmonics in the order of the contrast that the
// emitters give them and stops where no later one can be more visible.
func (l *look) worst(x, y float64) (Node, error) {
	at := l.at(x, y)
	node := Node{X: x, Y: y, Sight: at.sight, Surface: at.surface}
	if at.sight != wall.Seen {
		return node, nil
	}
	c := valid.New("alias", ErrInvalid)
	u, v := reciprocal(c, at.grid)
	if !c.OK() {
		node.Sight = wall.Uneven // too near or too small in the picture to have a pitch
		return node, nil
	}
	var resolved Alias
	found := false
	for _, h := range l.surfaces[at.surface].harmonics {
		if found && h.contrast*l.sight.most <= node.Visibility {
			break
		}
		nu := h.frequency(u, v)
		contrast := h.contrast * l.plane.aperture(nu)
		bound := contrast * l.sight.most // of the visibility
		if found && bound <= node.Visibility {
			continue
		}
		if l.Transfer != nil {
			otf := l.Transfer(nu, at.way)
			if err := checkTransfer(otf); err != nil {
				return Node{}, err
			}
			contrast *= math.Abs(otf)
		}
		for _, k := range l.plane.carriers {
			a := l.plane.record(h, nu, k, contrast)
			if a.Kind == Resolved {
				if a.Contrast > resolved.Contrast {
					resolved = a
				}
				continue
			}
			visibility := a.Contrast * l.sight.sensitivity(math.Hypot(a.Pattern.X, a.Pattern.Y))
			if !found || visibility > node.Visibility {
				found, node.Alias, node.Visibility = true, a, visibility
			}
		}
	}
	if !found {
		node.Alias = resolved
	}
	lit := l.surfaces[at.surface].Emitters
	var err error
	node.Incomplete, err = l.incomplete(lit.Width, at.grid.Across, at.way)
	if err == nil && !node.Incomplete {
		node.Incomplete, err = l.incomplete(lit.Height, at.grid.Down, at.way)
	}
	return node, err
}

// incomplete says whether harmonics beyond the order may be visible: along a row or a
// column of pixels whose lit part has a width and whose step in the picture is step.
func (l *look) incomplete(lit float64, step r2.Vec, way r3.Vec) (bool, error) {
	next := float64(l.order + 1)
	contrast := 2 / (math.Pi * next * lit) * min(1, math.Sqrt2*r2.Norm(step)/(math.Pi*l.plane.Width*next))
	if contrast*l.sight.most <= 1 || l.Transfer == nil {
		return contrast*l.sight.most > 1, nil
	}
	left := 0.0
	for k := range 3 {
		otf := l.Transfer(r2.Scale((next+float64(k))/r2.Norm2(step), step), way)
		if err := checkTransfer(otf); err != nil {
			return false, err
		}
		left = max(left, math.Abs(otf))
	}
	return contrast*left*l.sight.most > 1, nil
}

// Verdict is the worst of a lattice of places in a picture.
type Verdict struct {
	Seen    int  // places that show a wall
	Unknown int  // of those, where the wall is too near or too small for Predict, or the Node is Incomplete and shows no visible alias
	Worst   Node // the most visible alias of all; the zero Node if there is none
}

// Safe says whether a wall is in view and none of its places shows a visible alias.
// It is false where one is unknown. Between the places of the lattice an alias may
// be somewhat more visible than at them. Components are judged one by one: those few
// that are recorded at one frequency, as at whole image pitches, may add up to more.
func (v Verdict) Safe() bool { return v.Seen > 0 && v.Unknown == 0 && v.Worst.Visibility <= 1 }

func (v *Verdict) add(n Node) {
	if n.Sight == wall.OutsideRaster {
		return
	}
	v.Seen++
	if n.Sight != wall.Seen || n.Incomplete && n.Visibility <= 1 {
		v.Unknown++
	}
	if n.Sight == wall.Seen && (v.Worst == (Node{}) || n.Visibility > v.Worst.Visibility) {
		v.Worst = n
	}
}

// Frame is a lattice of places in a picture: the middles of so many equal cells
// across and down, 1 to 4096 each.
type Frame struct{ Columns, Rows int }

func (f Frame) check(c *valid.Checker) {
	c.Int("frame columns", f.Columns, "", 1, 4096)
	c.Int("frame rows", f.Rows, "", 1, 4096)
}

// Map is the worst alias at every place of a Frame, row by row from the top left,
// and the worst of all. The methods of the camera and Transfer are called from several
// goroutines at once.
//
// The work ends early with the error of ctx. A fault of the shot or the frame, and a
// Transfer outside −1 to 1, are errors.
func (s Scene) Map(ctx context.Context, shot Shot, frame Frame) ([]Node, Verdict, error) {
	c := valid.New("alias", ErrInvalid)
	frame.check(c)
	checkContext(c, ctx)
	if !c.OK() {
		return nil, Verdict{}, c.Err()
	}
	l, err := s.look(shot)
	if err != nil {
		return nil, Verdict{}, err
	}
	nodes := make([]Node, frame.Columns*frame.Rows)
	err = share(ctx, frame.Rows, func(row int) error {
		for column := range frame.Columns {
			node, err := l.node(frame, column, row)
			if err != nil {
				return err
			}
			nodes[row*frame.Columns+column] = node
		}
		return nil
	})
	if err != nil {
		return nil, Verdict{}, err
	}
	var verdict Verdict
	for _, n := range nodes {
		verdict.add(n)
	}
	return nodes, verdict, nil
}

// node is the worst alias in a cell of a frame.
func (l *look) node(frame Frame, column, row int) (Node, error) {
	width, height := l.Camera.Size()
	return l.worst(float64(width)*(float64(column)+0.5)/float64(frame.Columns), float64(height)*(float64(row)+0.5)/float64(frame.Rows))
}

// verdict is that of Map, by one goroutine.
func (s *Scene) verdict(ctx context.Context, shot Shot, frame Frame) (v Verdict, err error) {
	l, err := s.look(shot)
	if err != nil {
		return Verdict{}, err
	}
	for row := range frame.Rows {
		if err := ctx.Err(); err != nil {
			return Verdict{}, err
		}
		for column := range frame.Columns {
			node, err := l.node(frame, column, row)
			if err != nil {
				return Verdict{}, err
			}
			v.add(node)
		}
	}
	return v, nil
}

// share calls f for 0 to n − 1 from several goroutines, each for the next that is
// free. It ends early when ctx does. The error is that of ctx, or of the lowest number.
func share(ctx context.Context, n int, f func(i int) error) error {
	errs := make([]error, n)
	if err := parallel.Until(ctx, n, func(i int) { errs[i] = f(i) }); err != nil {
		return err
	}
	return cmp.Or(errs...)
}

func checkContext(c *valid.Checker, ctx context.Context) {
	if valid.Absent(ctx) {
		c.Unset("context")
	}
}

// Motion is how far the image of the wall at a place in a shot's picture moves, in
// photosites, until a second shot of the same walls. Alias.Crawl takes it. ok is
// false if the first shot shows no wall there, or the second not that place.
func (s Scene) Motion(from, to Shot, x, y float64) (motion r2.Vec, ok bool) {
	a, errA := s.look(from)
	b, errB := s.look(to)
	if errA != nil || errB != nil {
		return r2.Vec{}, false
	}
	at := a.at(x, y)
	if at.sight != wall.Seen || b.views[at.surface].Sight(at.x, at.y) != wall.Seen {
		return r2.Vec{}, false
	}
	toX, toY, ok := b.Camera.Project(r3.Sub(r3.Add(a.Eye, at.way), b.Eye))
	if !ok {
		return r2.Vec{}, false
	}
	return r2.Vec{X: toX - x, Y: toY - y}, true
}

// Floor is a lattice of places of a camera on the stage, at one height above the
// floor: from MinX to MaxX and from MinZ to MaxZ, with the ends. Lengths are within
// ±1000 km, with Min below Max; columns, along x, and rows, along z, are 2 to 4096.
type Floor struct {
	MinX, MaxX, MinZ, MaxZ, Height unit.Length
	Columns, Rows                  int
}

func (f Floor) check(c *valid.Checker) {
	span := func(name string, least, most unit.Length) {
		c.Length("min "+name, least, valid.Coordinates)
		limits := valid.Coordinates
		if limits.Contains(float64(least)) {
			limits.Min, limits.OpenMin = float64(least), true
		}
		c.Length("max "+name, most, limits)
	}
	span("x", f.MinX, f.MaxX)
	span("z", f.MinZ, f.MaxZ)
	c.Length("height", f.Height, valid.Coordinates)
	c.Int("floor columns", f.Columns, "", 2, 4096)
	c.Int("floor rows", f.Rows, "", 2, 4096)
}

func (f Floor) eye(column, row int) r3.Vec {
	between := func(from, to unit.Length, i, n int) float64 {
		t := float64(i) / float64(n-1)
		return float64(from)*(1-t) + float64(to)*t
	}
	return r3.Vec{X: between(f.MinX, f.MaxX, column, f.Columns), Y: float64(f.Height), Z: between(f.MinZ, f.MaxZ, row, f.Rows)}
}

// Standpoint is a place of the camera on the floor.
type Standpoint struct {
	Eye r3.Vec
	Verdict
}

// Floor is the worst alias from every place of a floor, row by row from MinZ, each
// over a lattice in the picture. aim gives the shot from a place: it points the
// camera and sets the focus. Where it returns ok = false, as behind the wall, Seen is
// 0. aim is called from several goroutines at once.
//
// The work ends early with the error of ctx. Faults of the floor, the frame or a
// shot, and a Transfer outside −1 to 1, are errors.
func (s Scene) Floor(ctx context.Context, floor Floor, frame Frame, aim func(eye r3.Vec) (shot Shot, ok bool)) ([]Standpoint, error) {
	c := valid.New("alias", ErrInvalid)
	floor.check(c)
	frame.check(c)
	checkContext(c, ctx)
	if aim == nil {
		c.Unset("aim")
	}
	if !c.OK() {
		return nil, c.Err()
	}
	places := make([]Standpoint, floor.Columns*floor.Rows)
	err := share(ctx, len(places), func(i int) (err error) {
		places[i].Eye = floor.eye(i%floor.Columns, i/floor.Columns)
		if shot, ok := aim(places[i].Eye); ok {
			places[i].Verdict, err = s.verdict(ctx, shot, frame)
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	return places, nil
}

// Search is a setting that may change, in any one unit: a distance, a focus, a roll,
// the separation of a low-pass filter. It is tried at Steps equal steps from Least
// to Most, 1 to 10000 of them, and at Wanted, which lies between. All are within
// ±1e9.
type Search struct {
	Wanted, Least, Most float64
	Steps               int
}

// Choice is the setting that NearestSafe finds.
type Choice struct {
	OK      bool
	Setting float64
	Verdict Verdict // there; where not OK, at Wanted
}

// NearestSafe is the setting nearest to the wanted one from which no visible alias
// is seen in the picture, on a lattice of places. OK is false if every setting that
// was tried shows one. set gives the shot with a setting; where it returns ok =
// false, the setting is not safe.
//
// The end of the safe range is found between two steps, to roundings. Ranges that
// are narrower than a step can be missed. Settings just inside the end are safe by
// little: go on.
//
// The work ends early with the error of ctx. Faults of the search, the frame or a
// shot, and a Transfer outside −1 to 1, are errors.
func (s Scene) NearestSafe(ctx context.Context, search Search, frame Frame, set func(setting float64) (shot Shot, ok bool)) (Choice, error) {
	c := valid.New("alias", ErrInvalid)
	frame.check(c)
	limits := valid.Closed[float64](-1e9, 1e9)
	c.Number("least setting", search.Least, "", limits)
	c.Number("greatest setting", search.Most, "", limits)
	if c.OK() {
		c.Number("greatest setting", search.Most, "", valid.Above(search.Least, 1e9))
		c.Number("wanted setting", search.Wanted, "", valid.Closed(search.Least, search.Most))
	}
	c.Int("steps", search.Steps, "", 1, 10000)
	checkContext(c, ctx)
	if set == nil {
		c.Unset("set")
	}
	if !c.OK() {
		return Choice{}, c.Err()
	}
	var failed error
	try := func(setting float64) Verdict {
		shot, ok := set(setting)
		if !ok || failed != nil {
			return Verdict{}
		}
		v, err := s.verdict(ctx, shot, frame)
		failed = err
		return v
	}
	wanted := try(search.Wanted)
	if failed != nil {
		return Choice{}, failed
	}
	if wanted.Safe() {
		return Choice{OK: true, Setting: search.Wanted, Verdict: wanted}, nil
	}
	settings := make([]float64, 0, search.Steps+1)
	for i := range search.Steps + 1 {
		t := float64(i) / float64(search.Steps)
		settings = append(settings, search.Least*(1-t)+search.Most*t)
	}
	// On each side the first safe setting, and the unsafe one before it.
	best := Choice{Setting: search.Wanted, Verdict: wanted}
	for _, side := range [2]float64{-1, 1} {
		before := search.Wanted
		slices.Reverse(settings) // from Wanted outwards: first down, then up
		for _, setting := range settings {
			if (setting-search.Wanted)*side <= 0 {
				continue
			}
			safe := try(setting).Safe()
			if safe {
				edge := root.Boundary(func(x float64) bool { return try(x).Safe() }, before, setting)
				if v := try(edge); v.Safe() && (!best.OK || math.Abs(edge-search.Wanted) < math.Abs(best.Setting-search.Wanted)) {
					best = Choice{OK: true, Setting: edge, Verdict: v}
				}
			}
			if failed != nil {
				return Choice{}, failed
			}
			if safe {
				break
			}
			before = setting
		}
	}
	return best, nil
}
