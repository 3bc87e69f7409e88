package stage

import (
	"fmt"
	"math"
	"slices"

	"example.com/platewright/internal/sphere"
	"example.com/platewright/internal/valid"
	"example.com/platewright/wall"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// Survey is a panel of a part, by its number, and its measured corners in metres in
// the stage frame: the upper left one as the viewer sees it, then clockwise.
type Survey struct {
	Panel   int
	Corners [4]r3.Vec
}

// PanelFit says how a panel hangs and how well its survey fits.
type PanelFit struct {
	Panel    int
	Moved    unit.Length // of its middle, from where it was planned
	Turned   unit.Angle  // against how it was planned
	Residual unit.Length // the greatest distance of a measured corner from that of the panel
	// Noise is the standard deviation of a measured coordinate as the residuals show
	// it. The twelve coordinates of a panel leave six degrees of freedom:
	//
	//	noise = √(Σ residual²/6)
	Noise unit.Length
}

// Hang gives a part as it hangs, from measured corners of its panels. Each panel
// keeps its size and is placed by the rigid motion of the least sum of squares of
// distances to its four corners. Panels without a survey stay where they were
// planned. The fits are in the order of the surveys.
//
// A noise of more than a twentieth of the shorter side of a panel is an error, and
// so is a turn of more than 45° from the plan: corners are then in another order, or of
// another panel.
//
// Source: the singular value decomposition of the correlation of two sets of
// points, W. Kabsch, Acta Crystallographica A 32 (1976) 922, from memory.
func Hang(part Part, surveys []Survey) (hung Part, fits []PanelFit, err error) {
	c := valid.New("stage", ErrInvalid)
	hung = Part{Name: part.Name, Panels: slices.Clone(part.Panels)}
	done := map[int]bool{}
	for i, s := range surveys {
		name := fmt.Sprintf(" of survey %d", i)
		c.Int("panel"+name, s.Panel, "", 0, len(part.Panels)-1)
		if c.OK() {
			checkCorners(c, fmt.Sprintf("panel %d of part %s", s.Panel, part.Name), part.Panels[s.Panel].Face)
		}
		for k, p := range s.Corners {
			checkPoint(c, fmt.Sprintf("corner %d%s", k, name), p)
		}
		if !c.OK() {
			return Part{}, nil, c.Err()
		}
		if done[s.Panel] {
			c.Fault("panel"+name, fmt.Sprint(s.Panel), "must not be surveyed twice")
		}
		done[s.Panel] = true
		face, fit, ok := hang(part.Panels[s.Panel].Face, s.Corners)
		side := min(distance(face.LowerLeft, face.LowerRight), distance(face.LowerLeft, face.UpperLeft))
		if !ok || !(float64(fit.Noise) <= side/20 && fit.Turned <= 45*wall.Degree) {
			c.Fault("fit"+name, fmt.Sprintf("with a noise of %.3g m and a turn of %.3g°", float64(fit.Noise), float64(fit.Turned/wall.Degree)),
				"must have at most a twentieth of the side of panel %d, %.3g m, and 45°: are the corners clockwise from the upper left one?", s.Panel, side/20)
		}
		if !c.OK() {
			return Part{}, nil, c.Err()
		}
		fit.Panel = s.Panel
		hung.Panels[s.Panel].Face = face
		fits = append(fits, fit)
	}
	return hung, fits, nil
}

// hang is a rectangle moved onto its measured corners.
func hang(r wall.Rectangle, measured [4]r3.Vec) (hung wall.Rectangle, fit PanelFit, ok bool) {
	planned := corners(r)
	mp, mm := middle(planned), middle(measured[:])
	// Correlation of both sets around their middles: rows of the measured.
	h := mat.NewDense(3, 3, nil)
	for i := range planned {
		p, m := r3.Sub(planned[i], mp), r3.Sub(measured[i], mm)
		h.RankOne(h, 1, mat.NewVecDense(3, []float64{m.X, m.Y, m.Z}), mat.NewVecDense(3, []float64{p.X, p.Y, p.Z}))
	}
	var svd mat.SVD
	if !svd.Factorize(h, mat.SVDFull) {
		return r, PanelFit{}, false
	}
	var u, v, rot mat.Dense
	svd.UTo(&u)
	svd.VTo(&v)
	// A flat panel leaves the sign of its normal open: it must not be mirrored.
	last := mat.NewDiagDense(3, []float64{1, 1, math.Copysign(1, mat.Det(&u)*mat.Det(&v))})
	rot.Product(&u, last, v.T())
	turn := func(p r3.Vec) r3.Vec {
		return r3.Vec{
			X: rot.At(0, 0)*p.X + rot.At(0, 1)*p.Y + rot.At(0, 2)*p.Z,
			Y: rot.At(1, 0)*p.X + rot.At(1, 1)*p.Y + rot.At(1, 2)*p.Z,
			Z: rot.At(2, 0)*p.X + rot.At(2, 1)*p.Y + rot.At(2, 2)*p.Z,
		}
	}
	place := func(p r3.Vec) r3.Vec { return r3.Add(mm, turn(r3.Sub(p, mp))) }
	hung = wall.Rectangle{LowerLeft: place(r.LowerLeft), LowerRight: place(r.LowerRight), UpperLeft: place(r.UpperLeft)}
	sum := 0.0
	for i, p := range corners(hung) {
		off := distance(p, measured[i])
		sum += off * off
		fit.Residual = max(fit.Residual, unit.Length(off))
	}
	fit.Noise = unit.Length(math.Sqrt(sum / 6))
	fit.Moved = unit.Length(distance(mp, mm))
	// The axis of a turn φ times 2 sin φ, and 1 + 2 cos φ on the diagonal.
	axis := r3.Vec{X: rot.At(2, 1) - rot.At(1, 2), Y: rot.At(0, 2) - rot.At(2, 0), Z: rot.At(1, 0) - rot.At(0, 1)}
	fit.Turned = unit.Angle(math.Atan2(r3.Norm(axis), mat.Trace(&rot)-1))
	return hung, fit, true
}

func middle(points []r3.Vec) (m r3.Vec) {
	for _, p := range points {
		m = r3.Add(m, r3.Scale(1/float64(len(points)), p))
	}
	return m
}

func distance(a, b r3.Vec) float64 { return r3.Norm(r3.Sub(a, b)) }

// Shift is the error of a raster position in a camera's picture, in photosites, if the
// rasters were filled for the planned stage and the panels hang elsewhere:
//
//	shift = c(hung place − eye) − c(planned place − eye)
//
// with c the camera's projection of a direction. The view is that of the planned
// stage from the camera's entrance pupil. hung has the same layout of rasters. The
// shift is valid only if why is Seen. OffPanels, FromBehind, HiddenByPanel and
// HiddenByBlocker may hold for either stage.
func (v View) Shift(hung Stage, c Camera, x, y float64) (shift r2.Vec, why Sight) {
	planned, _, why := v.look(x, y)
	if why != Seen {
		return r2.Vec{}, why
	}
	found, _, why := View{hung.s, v.raster, v.eye}.look(x, y)
	if why != Seen {
		return r2.Vec{}, why
	}
	if valid.Absent(c) {
		return r2.Vec{}, OutsidePicture
	}
	px, py, ok := c.Project(planned)
	hx, hy, also := c.Project(found)
	shift = r2.Vec{X: hx - px, Y: hy - py}
	if !ok || !also || !(math.Hypot(shift.X, shift.Y) <= math.MaxFloat64) {
		return r2.Vec{}, OutsidePicture
	}
	return shift, Seen
}

// EyeError is the angle by which a picture made for the eye of the view is wrong
// for another eye, in metres in the stage frame. The picture shows, at a raster
// position, a thing at a distance from the first eye, +Inf for a horizon. The other
// eye sees it in the direction of the panel, and should see it in that of the thing:
//
//	thing = eye + distance dir,  error = angle(place − other, thing − other)
//
// The distance must be more than 0. ok is false if it is not, or if the view does
// not see the position. Whether the other eye sees it is another question.
func (v View) EyeError(x, y float64, other r3.Vec, distance unit.Length) (wrong unit.Angle, ok bool) {
	dir, p, why := v.look(x, y)
	if why != Seen || !finite(other) || !(distance > 0) {
		return 0, false
	}
	thing := dir
	if !math.IsInf(float64(distance), 1) {
		// Divided by the distance, so that no far thing loses its digits.
		thing = r3.Add(dir, r3.Scale(1/float64(distance), r3.Sub(v.eye, other)))
	}
	to, fine := along(r3.Sub(p.at(x, y), other))
	thing, also := along(thing)
	if !fine || !also {
		return 0, false
	}
	return unit.Angle(sphere.Angle(to, thing)), true
}
