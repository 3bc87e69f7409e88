package light

import (
	"context"
	"fmt"
	"math"

	"example.com/platewright/internal/parallel"
	"example.com/platewright/internal/valid"
	"example.com/platewright/wall"
	"gonum.org/v1/gonum/spatial/r3"
)

// Cube is the light around a point: on the six faces of a small cube, and its main
// direction.
type Cube struct {
	// Faces look along +X, −X, +Y, −Y, +Z and −Z of the stage frame.
	Faces [6]Light

	// Vector is the light vector, in lx. It points towards the light. Its component
	// along any direction is the illuminance of a receiver that faces it, less that
	// of its back.
	Vector r3.Vec

	// VectorToScalar is the length of Vector over the mean illuminance of a small
	// sphere: 0 for light from all around, 4 for a beam. Hard light is near 4.
	VectorToScalar float64

	// Key is the light on a receiver that faces along Vector, Fill that on its back.
	Key, Fill Light
}

// Cube measures the light around a point, in metres in the stage frame. The vector
// and the mean follow from the faces:
//
//	Vector = (E₊ₓ − E₋ₓ, E₊ᵧ − E₋ᵧ, E₊z − E₋z)
//	mean ≈ |Vector|/4 + (min(E₊ₓ, E₋ₓ) + min(E₊ᵧ, E₋ᵧ) + min(E₊z, E₋z))/3
//
// A component of the vector has the errors of its two faces. The mean is exact for a
// beam with even light around it. In the light of two to four walls VectorToScalar
// was within 0.5 of that by integration over the sphere.
//
// Source: A. Gershun, The Light Field, 1936; C. Cuttle, Cubic illumination,
// Lighting Research and Technology 29, 1997; both from memory.
func (s *Scene) Cube(point r3.Vec) (Cube, error) {
	c := valid.New("light", ErrInvalid)
	if s.check(c, point); !c.OK() {
		return Cube{}, c.Err()
	}
	var q Cube
	var lux [6]float64
	for i := range q.Faces {
		side := float64(1 - 2*(i%2))
		n := r3.Vec{X: side}
		switch i / 2 {
		case 1:
			n = r3.Vec{Y: side}
		case 2:
			n = r3.Vec{Z: side}
		}
		q.Faces[i] = s.gather(point, n)
		lux[i] = q.Faces[i].RGB.Sum()
	}
	q.Vector = r3.Vec{X: lux[0] - lux[1], Y: lux[2] - lux[3], Z: lux[4] - lux[5]}
	length := r3.Norm(q.Vector)
	mean := length/4 + (min(lux[0], lux[1])+min(lux[2], lux[3])+min(lux[4], lux[5]))/3
	if mean > 0 {
		q.VectorToScalar = length / mean
	}
	if n, ok := direction(q.Vector); ok {
		q.Key, q.Fill = s.gather(point, n), s.gather(point, r3.Scale(-1, n))
	}
	return q, nil
}

// KeyToFill is the ratio of Key to Fill, in stops: 3 means that the bright side gets
// eight times the light. ok is false if either of them is 0.
func (q Cube) KeyToFill() (stops float64, ok bool) {
	key, fill := q.Key.RGB.Sum(), q.Fill.RGB.Sum()
	if !(key > 0 && fill > 0 && key <= math.MaxFloat64 && fill <= math.MaxFloat64) {
		return 0, false
	}
	return math.Log2(key) - math.Log2(fill), true
}

// Map is the illuminance over a plane, as a floor: in the middles of columns × rows
// equal fields of a rectangle, row by row from the upper left. The receivers face
// to the side from which the corners of the rectangle are named. There are 1 to
// 2^20 fields.
//
// The work is shared among runtime.GOMAXPROCS workers. The result does not depend
// on their number. A cancelled context ends it with the context's error.
func (s *Scene) Map(ctx context.Context, plane wall.Rectangle, columns, rows int) ([]Light, error) {
	c := valid.New("light", ErrInvalid)
	s.check(c, r3.Vec{})
	checkContext(c, ctx)
	c.Int("columns", columns, "", 1, 1<<20)
	c.Int("rows", rows, "", 1, 1<<20)
	p, ok := frame(plane)
	if !ok {
		c.Fault("plane", fmt.Sprint(plane), "must have sides over 1 nm at right angles, within ±1000 km")
	}
	if c.OK() && int64(columns)*int64(rows) > 1<<20 {
		c.Fault("fields", fmt.Sprintf("%d × %d", columns, rows), "must be at most 2^20")
	}
	if !c.OK() {
		return nil, c.Err()
	}
	lights := make([]Light, columns*rows)
	err := parallel.Until(ctx, len(lights), func(i int) {
		x, y := float64(i%columns)+0.5, float64(i/columns)+0.5
		lights[i] = s.gather(p.at(x/float64(columns), y/float64(rows)), p.normal)
	})
	if err != nil {
		return nil, err
	}
	return lights, nil
}

func checkContext(c *valid.Checker, ctx context.Context) {
	if valid.Absent(ctx) {
		c.Unset("context")
	}
}
