package main

import (
	"fmt"
	"math"

	"example.com/platewright/internal/peer/scenes"
	"example.com/platewright/projection"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// The sphere is seen through geometry in closed form, written here once more:
// the truth must not rest on package projection. Directions are those of the
// fisheye: x to the right, y down, z forward. Rasters are squares with the
// axis in their centre; focal lengths are in px.

// fisheyeDirection is where an equidistant fisheye sees a position.
func fisheyeDirection(x, y, side, focal float64) r3.Vec {
	u, v := (x-side/2)/focal, (y-side/2)/focal
	angle := math.Hypot(u, v)
	if angle == 0 {
		return r3.Vec{Z: 1}
	}
	s, c := math.Sincos(angle)
	return r3.Vec{X: s * u / angle, Y: s * v / angle, Z: c}
}

// fisheyePosition is where it images a direction.
func fisheyePosition(d r3.Vec, side, focal float64) (x, y float64) {
	across := math.Hypot(d.X, d.Y)
	if across == 0 {
		return side / 2, side / 2
	}
	angle := math.Atan2(across, d.Z)
	return side/2 + focal*angle*d.X/across, side/2 + focal*angle*d.Y/across
}

// viewAxes are the right, down and forward of a view that is turned to the
// right by heading and then raised by elevation, in radians.
func viewAxes(heading, elevation float64) [3]r3.Vec {
	sh, ch := math.Sincos(heading)
	se, ce := math.Sincos(elevation)
	return [3]r3.Vec{{X: ch, Z: -sh}, {X: sh * se, Y: ce, Z: ch * se}, {X: sh * ce, Y: -se, Z: ch * ce}}
}

// viewDirection is where a rectilinear view sees a position.
func viewDirection(axes [3]r3.Vec, x, y, size, focal float64) r3.Vec {
	u, v := (x-size/2)/focal, (y-size/2)/focal
	return r3.Add(axes[2], r3.Add(r3.Scale(u, axes[0]), r3.Scale(v, axes[1])))
}

// around is the position of a direction in the plane that shows the sphere
// around the forward axis: angles from it are distances, a radian is scale.
// ok is false from 75° on, which no view sees.
func around(axes [3]r3.Vec, d r3.Vec, scale float64) (x, y float64, ok bool) {
	r, down, forward := r3.Dot(d, axes[0]), r3.Dot(d, axes[1]), r3.Dot(d, axes[2])
	across := math.Hypot(r, down)
	if forward < across*0.27 {
		return 0, 0, false
	}
	if across == 0 {
		return 0, 0, true
	}
	k := scale * math.Atan2(across, forward) / across
	return k * r, k * down, true
}

// sphere compares rectilinear views of a fisheye's picture. Source and truth
// are integrals of one scene of directions over the pixels of each.
func (j *judge) sphere() error {
	axes := viewAxes(float64(heading), float64(elevation))
	var chosen []picture
	for _, p := range pictures {
		switch p.name {
		case "zone plate to 0.45", "grating 0.25 at 60°", "edges at 35°", "stars":
			chosen = append(chosen, picture{"sphere: " + p.name, p.draw})
		}
	}
	set := func(pic picture, magnification float64) (problem, error) {
		size := 96
		if magnification < 1 {
			size = 64
		}
		viewFocal := float64(size) / 2 / math.Tan(float64(viewAcross)/2)
		side := int(math.Ceil(viewFocal / magnification * float64(plateAcross)))
		focal := float64(side) / float64(plateAcross)
		// The plane of the scene has the source's pixels at the view's axis. It
		// spans the view.
		span := focal * float64(viewAcross)
		scene := pic.draw(max(1/magnification, 1), span)
		light := func(d r3.Vec) float64 {
			x, y, ok := around(axes, d, focal)
			if !ok {
				return 0.5
			}
			return scene(x+span/2, y+span/2)
		}
		see := func(x, y float64) r3.Vec { return viewDirection(axes, x, y, float64(size), viewFocal) }
		camera, view, err := sphereRasters(side, size)
		return problem{
			side: side, size: size, scale: 1 / magnification,
			pix: scenes.Frame(func(x, y float64) float64 { return light(fisheyeDirection(x, y, float64(side), focal)) },
				side, side, points, scenes.Affine{XX: 1, YY: 1}),
			truth:  scenes.Frame(func(x, y float64) float64 { return light(see(x, y)) }, size, size, truthPoints(1/magnification), scenes.Affine{XX: 1, YY: 1}),
			target: view, source: camera,
			at: func(x, y float64) (float64, float64) { return fisheyePosition(see(x, y), float64(side), focal) },
		}, err
	}
	degrees := func(a unit.Angle) float64 { return float64(a / projection.Degree) }
	v360 := func(p problem) (columns []column) {
		for _, how := range []string{"linear", "cubic", "lanczos"} {
			columns = append(columns, column{"v360 " + how, func() ([]float32, error) {
				across := degrees(plateAcross) * float64(p.side-1) / float64(p.side)
				return j.filtered(p, fmt.Sprintf("v360=input=fisheye:output=flat:ih_fov=%.9f:iv_fov=%.9f:h_fov=%.9f:v_fov=%.9f:yaw=%.9f:pitch=%.9f:w=%d:h=%d:interp=%s",
					across, across, degrees(viewAcross), degrees(viewAcross), degrees(heading), degrees(elevation), p.size, p.size, how))
			}})
		}
		return columns
	}
	return j.each(fmt.Sprintf(`A rectilinear view of %.0f° from a fisheye of %.0f°, turned by %.0f° and %.0f°, float32; magnification at the view's axis, up to twice as much at its edges
v360: FFmpeg's filter, which makes its own map and reads 16-bit codes`, degrees(viewAcross), degrees(plateAcross), degrees(heading), degrees(elevation)),
		chosen, []float64{0.25, 0.5, 1, 2, 4}, set, v360)
}

// sphereRasters are the fisheye and the view as package projection has them.
func sphereRasters(side, size int) (camera, view projection.Camera, err error) {
	focal := float64(side) / float64(plateAcross)
	camera, err = projection.NewCamera(projection.CameraSpec{Model: projection.Equidistant, FocalX: focal, FocalY: focal, Width: side, Height: side})
	if err != nil {
		return camera, view, err
	}
	view, err = projection.NewView(projection.ViewSpec{
		Width: size, Height: size, Across: viewAcross, Pose: projection.Pose{Heading: heading, Elevation: elevation},
	})
	return camera, view, err
}
