package stage

import (
	"math"

	"example.com/platewright/internal/enum"
	"example.com/platewright/internal/valid"
	"example.com/platewright/wall"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// Camera is the camera that films the stage, turned as it stands: directions are in
// the stage frame and from its entrance pupil, positions in photosites. ok is false
// outside its picture. A projection.Camera is one.
type Camera interface {
	Size() (width, height int)
	Project(dir r3.Vec) (x, y float64, ok bool)
	Unproject(x, y float64) (dir r3.Vec, ok bool)
}

// PushIn is a way to enlarge a part of the frame.
type PushIn uint8

const (
	Editorial PushIn = iota // a part of the recorded frame is enlarged
	Physical                // a longer lens films that part from the same place
)

// Limit says which link of the chain from plate to delivery has the fewest pixels
// per degree.
type Limit uint8

const (
	NoLimit Limit = iota // of a Resolution of what is not seen
	PlateLimit
	WallLimit
	CameraLimit
)

var (
	pushIns = enum.New[PushIn](ErrInvalid, []string{Editorial: "editorial", Physical: "physical"})
	limits  = enum.New[Limit](ErrInvalid, []string{NoLimit: "none", PlateLimit: "plate", WallLimit: "wall", CameraLimit: "camera"})
)

// String gives a name like "physical".
func (p PushIn) String() string { return pushIns.Name(p) }

// MarshalText gives the name. An unknown PushIn is an error.
func (p PushIn) MarshalText() ([]byte, error) { return pushIns.Marshal(p) }

// UnmarshalText reads a name. Any other text is an error and leaves p unchanged.
func (p *PushIn) UnmarshalText(text []byte) error { return pushIns.Unmarshal(p, text) }

// String gives a name like "wall".
func (l Limit) String() string { return limits.Name(l) }

// MarshalText gives the name. An unknown Limit is an error.
func (l Limit) MarshalText() ([]byte, error) { return limits.Marshal(l) }

// UnmarshalText reads a name. Any other text is an error and leaves l unchanged.
func (l *Limit) UnmarshalText(text []byte) error { return limits.Unmarshal(l, text) }

// ResolutionSpec describes the way of a picture from the plate by wall and camera to
// delivery.
type ResolutionSpec struct {
	Camera Camera
	Eye    r3.Vec // the camera's entrance pupil, metres in the stage frame

	// Plate is the density of the plate in px per degree, in a direction from the
	// eye. Where it differs between directions of the picture, as in a fisheye, give the
	// least; PlatePixelsPerPixel is then what there is at the least. Nil is a plate
	// without limit. A value that is not above 0 and finite means that there is no plate:
	// Limit is then PlateLimit, Enlarge and Lead are 0.
	Plate func(dir r3.Vec) float64 `json:"-"`

	DeliveredWidth int     // pixels across the delivered picture
	PushIn         PushIn  // Editorial or Physical
	Factor         float64 // of the push-in into the middle of the frame, 1 to 1000; 1 for none

	Acuity unit.Angle // of an eye at the camera's place, more than 1e-9 rad, below 90°
}

// Span is the least and the greatest of a value over all directions in the picture.
type Span struct{ Least, Greatest float64 }

// Resolution compares the links of the chain at one place of the picture. Densities
// are pixels per degree, along the direction in which they are least.
type Resolution struct {
	X, Y float64 // position in the whole frame, photosites
	Why  Sight   // Seen, OutsidePicture, ShowsNothing, ShowsBack or ShowsBlocker
	Hit  Hit     // what the camera sees there; the zero Hit if it is nothing

	// The rest is valid only if Why is Seen.

	Plate     float64 // 0 if there is no plate or no limit of one
	Wall      float64
	Camera    float64 // photosites, of the longer lens if the push-in is Physical
	Delivered float64 // what the delivered picture shows at the most

	PhotositesPerPixel  Span // of the wall
	PlatePixelsPerPixel Span // of the wall; 0 as Plate is

	Limit   Limit
	Enlarge float64 // Delivered/that of Limit: more than 1 means a soft picture
	Lead    float64 // the next link/that of Limit, at least 1: what mending Limit alone can gain

	EyeResolves bool // an eye at the camera's place separates pixels of the wall
}

// Resolutions is the chain as a map over the delivered picture: at the middles of
// columns × rows equal cells, row by row from the top left. Each number is 1 to
// 4096, and there are at most 2^20 cells. With d the unit vector to a point at the distance r on the wall, e the step
// from one pixel to the next, and σ the greatest singular value of the steps as
// angles,
//
//	angle of a step = (e − (e·d) d)/r,  density = (π/180)/σ
//
// For the camera the steps are those of its directions over one photosite. The
// delivered density is that of the camera without push-in, times Factor
// DeliveredWidth/width of the frame.
//
// A physical push-in that moves the camera has another Eye and no Factor.
// A longer lens shows the middle of the frame as a crop does; that holds for
// rectilinear lenses.
func (s Stage) Resolutions(spec ResolutionSpec, columns, rows int) ([]Resolution, error) {
	c := valid.New("stage", ErrInvalid)
	if s.s == nil {
		c.Fault("stage", "zero value", "must come from New")
	}
	width, height := checkCamera(c, spec.Camera)
	checkPoint(c, "eye", spec.Eye)
	c.Int("delivered width", spec.DeliveredWidth, "px", 1, valid.MaxSide)
	pushIns.Check(c, "push-in", spec.PushIn)
	c.Number("factor", spec.Factor, "", valid.Closed(1.0, 1000))
	c.Angle("acuity", spec.Acuity, valid.Acuities)
	checkCells(c, columns, rows)
	if c.OK() {
		c.Int("columns × rows", columns*rows, "", 1, 1<<20)
	}
	if !c.OK() {
		return nil, c.Err()
	}
	list := make([]Resolution, 0, columns*rows)
	w, h := float64(width), float64(height)
	for row := range rows {
		for column := range columns {
			x := w/2 + w*((float64(column)+0.5)/float64(columns)-0.5)/spec.Factor
			y := h/2 + h*((float64(row)+0.5)/float64(rows)-0.5)/spec.Factor
			list = append(list, s.resolution(spec, w, x, y))
		}
	}
	return list, nil
}

func (s Stage) resolution(spec ResolutionSpec, width, x, y float64) Resolution {
	r := Resolution{X: x, Y: y}
	dir, ok := spec.Camera.Unproject(x, y)
	if dir, ok = unitOf(dir, ok); !ok {
		r.Why = OutsidePicture
		return r
	}
	// The camera's steps, from the middle of one photosite to both sides.
	var photosite [2]r3.Vec
	for i, half := range [2][2]float64{{0.5, 0}, {0, 0.5}} {
		a, okA := spec.Camera.Unproject(x-half[0], y-half[1])
		b, okB := spec.Camera.Unproject(x+half[0], y+half[1])
		a, okA = unitOf(a, okA)
		b, okB = unitOf(b, okB)
		photosite[i] = r3.Sub(b, a)
		if !okA || !okB || !(r3.Norm(photosite[i]) > 0) {
			r.Why = OutsidePicture
			return r
		}
	}
	hit, ok := s.Hit(spec.Eye, dir)
	r.Hit = hit
	if r.Why = sightOf(hit, ok); r.Why != Seen {
		return r
	}
	p := s.s.panelOf(hit)
	distance := float64(hit.Distance)
	step := func(e r3.Vec) r3.Vec { return r3.Scale(1/distance, r3.Sub(e, r3.Scale(r3.Dot(e, dir), dir))) }
	pixel := [2]r3.Vec{step(p.right), step(p.down)}

	camera, pixels := singular(photosite), singular(pixel)
	ratio := inPhotosites(pixel, photosite)
	if !(camera.Least > 0 && pixels.Least > 0 && ratio.Least > 0) {
		r.Why = OutsidePicture // the picture or the panel folds into a line
		return r
	}
	const degree = float64(wall.Degree)
	r.PhotositesPerPixel = ratio
	r.Wall, r.Camera = degree/pixels.Greatest, degree/camera.Greatest
	r.Delivered = r.Camera * spec.Factor * float64(spec.DeliveredWidth) / width
	if spec.PushIn == Physical {
		r.Camera *= spec.Factor
		r.PhotositesPerPixel = Span{ratio.Least * spec.Factor, ratio.Greatest * spec.Factor}
	}
	r.EyeResolves = degree/float64(spec.Acuity) > r.Wall

	r.Limit, r.Lead = WallLimit, r.Camera/r.Wall
	least := r.Wall
	if r.Camera < r.Wall {
		r.Limit, r.Lead, least = CameraLimit, r.Wall/r.Camera, r.Camera
	}
	if spec.Plate != nil {
		plate := spec.Plate(dir)
		if !(plate > 0 && plate <= math.MaxFloat64) {
			r.Limit, r.Lead = PlateLimit, 0
			return r
		}
		r.Plate = plate
		r.PlatePixelsPerPixel = Span{plate * pixels.Least / degree, plate * pixels.Greatest / degree}
		if plate < least {
			r.Limit, r.Lead, least = PlateLimit, least/plate, plate
		} else {
			r.Lead = min(r.Lead, plate/least)
		}
	}
	r.Enlarge = r.Delivered / least
	return r
}

// singular are the least and the greatest length that a combination a u + b v of
// two vectors has, for a² + b² = 1.
func singular(v [2]r3.Vec) Span {
	a, b, c := r3.Norm2(v[0]), r3.Dot(v[0], v[1]), r3.Norm2(v[1])
	greatest := math.Sqrt((a + c + math.Hypot(a-c, 2*b)) / 2)
	return Span{r3.Norm(r3.Cross(v[0], v[1])) / greatest, greatest} // their product is the area
}

// inPhotosites are the singular values of the steps of pixels, in photosites.
func inPhotosites(pixel, photosite [2]r3.Vec) Span {
	n := r3.Cross(photosite[0], photosite[1])
	area := r3.Norm2(n)
	var m [2]r3.Vec
	for i, e := range pixel {
		m[i] = r3.Vec{X: r3.Dot(r3.Cross(e, photosite[1]), n) / area, Y: r3.Dot(r3.Cross(photosite[0], e), n) / area}
	}
	return singular(m)
}

// panelOf is the panel of a hit, which must be one of a panel.
func (s *scene) panelOf(h Hit) *panel { return &s.panels[s.starts[h.Part]+h.Panel] }

// sightOf is the Sight of a ray with a hit.
func sightOf(h Hit, ok bool) Sight {
	switch {
	case !ok:
		return ShowsNothing
	case h.Surface == PanelBack:
		return ShowsBack
	case h.Surface == AtBlocker:
		return ShowsBlocker
	}
	return Seen
}

// unitOf is a direction that a caller gave, as a unit vector.
func unitOf(dir r3.Vec, ok bool) (r3.Vec, bool) {
	d, fine := along(dir)
	return d, ok && fine
}

func checkCamera(c *valid.Checker, camera Camera) (width, height int) {
	if valid.Absent(camera) {
		c.Unset("camera")
		return 0, 0
	}
	width, height = camera.Size()
	c.Int("width of the camera", width, "photosites", 1, valid.MaxSide)
	c.Int("height of the camera", height, "photosites", 1, valid.MaxSide)
	return width, height
}

func checkCells(c *valid.Checker, columns, rows int) {
	c.Int("columns", columns, "", 1, 4096)
	c.Int("rows", rows, "", 1, 4096)
}
