package light

import (
	"context"
	"fmt"
	"math"

	"example.com/platewright/internal/parallel"
	"example.com/platewright/internal/valid"
	"example.com/platewright/wall"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/unit"
)

// Patch is a part of a panel in Scene.Mutual.
type Patch struct {
	Panel     int // index of Spec.Panels
	Rectangle wall.Rectangle

	// RGB is the light that the walls put on the patch, in lx, directly and by way
	// of other surfaces. SetLux is that of the set lights.
	RGB    RGB
	SetLux float64

	// Reflected is the luminance, in cd/m², that the patch adds to its picture by
	// reflecting the light of the walls. A Panel of this Rectangle and Peak gives it
	// to a Scene of its own: the light that comes by way of walls and floor.
	Reflected RGB

	// Veil is Reflected.Sum and what the patch reflects of the set lights, in cd/m².
	// It is the least black that a camera sees there.
	Veil float64
}

// mostPatches bounds the memory for the view factors between patches to 32 MB.
const mostPatches = 2000

// Mutual is what the surfaces of the scene do to each other. Each panel is cut into
// patches no longer than side, 2000 in all at most. Patch i gets
//
//	Eᵢ = direct + set + Σ ρⱼ Eⱼ Fᵢⱼ
//
// F is the view factor of patch j from the middle of patch i, 0 if something stands
// between the middles. Reflection is diffuse: luminance = ρ E/π. The equation is
// iterated until E changes by less than 1e-10 of its greatest value.
//
// setLight is the illuminance of set lights, in lx, on a receiver at a point of a
// panel with a unit normal; nil is none. It must be 0 to 1e12. It is called for one
// patch after the other.
//
// Even surfaces are exact, as in a closed box. Otherwise the error falls about with
// the square of side, and in corners with side: halve it and compare. Surfaces that
// overlap, or see each other through others, can return more light than they get;
// then the iteration does not settle, and that is an error.
//
// Source: radiosity, as in C. M. Goral and others, SIGGRAPH 1984, from memory.
func (s *Scene) Mutual(ctx context.Context, side unit.Length, setLight func(point, normal r3.Vec) float64) ([]Patch, error) {
	c := valid.New("light", ErrInvalid)
	s.check(c, r3.Vec{})
	checkContext(c, ctx)
	c.Length("side", side, valid.Closed(1*unit.Milli*unit.Metre, 1e6*unit.Metre))
	if !c.OK() {
		return nil, c.Err()
	}
	var patches []Patch
	var cells []cell
	var centres []r3.Vec
	var direct [][4]float64
	for i := range s.panels {
		p := &s.panels[i]
		nx, ny := math.Ceil(p.columns*p.pitchX/float64(side)), math.Ceil(p.rows*p.pitchY/float64(side))
		if float64(len(cells))+nx*ny > mostPatches {
			return nil, c.Refuse("side", fmt.Sprintf("%.4g m", float64(side)), "must be longer: more than %d patches", mostPatches)
		}
		for k := range int(nx * ny) {
			x, y := float64(k%int(nx)), float64(k/int(nx))
			w, h := p.columns/nx, p.rows/ny
			cells = append(cells, cell{panel: int32(i), x0: x * w, y0: y * h, x1: (x + 1) * w, y1: (y + 1) * h})
			patches = append(patches, Patch{Panel: i, Rectangle: wall.Rectangle{
				LowerLeft: p.at(x*w, (y+1)*h), LowerRight: p.at((x+1)*w, (y+1)*h), UpperLeft: p.at(x*w, y*h),
			}})
			at, lux := p.at((x+0.5)*w, (y+0.5)*h), 0.0
			if setLight != nil {
				lux = setLight(at, p.normal)
			}
			if !(lux >= 0 && lux <= valid.Illuminances.Max) {
				c.Number(fmt.Sprintf("set light at %v", at), lux, "lx", valid.Closed(0, valid.Illuminances.Max))
				return nil, c.Err()
			}
			centres, direct = append(centres, at), append(direct, [4]float64{3: lux})
		}
	}
	n := len(patches)
	factors := make([]float64, n*n)
	err := parallel.Until(ctx, n, func(i int) {
		at, normal := centres[i], s.panels[patches[i].Panel].normal
		l := s.gather(at, normal)
		copy(direct[i][:3], l.RGB[:])
		for j, k := range cells {
			p := &s.panels[k.panel]
			q := p.above(at)
			if p.reflectance == 0 || !(q.Z > 0) {
				continue
			}
			b := box{k.x0*p.pitchX - q.X, k.y0*p.pitchY - q.Y, k.x1*p.pitchX - q.X, k.y1*p.pitchY - q.Y, q.Z}
			if f := b.lambert(p.local(normal)) / math.Pi; f > 0 && !s.blind(at, centres[j]) {
				factors[i*n+j] = p.reflectance * f
			}
		}
	})
	if err != nil {
		return nil, err
	}
	light, err := settle(ctx, direct, factors)
	if err != nil {
		return nil, err
	}
	if light == nil {
		return nil, c.Refuse("panels", "light that does not settle", "must not overlap, nor see each other through others")
	}
	for i, l := range light {
		p := &patches[i]
		p.RGB, p.SetLux = RGB{l[0], l[1], l[2]}, l[3]
		back := s.panels[p.Panel].reflectance / math.Pi
		p.Reflected = RGB{back * l[0], back * l[1], back * l[2]}
		p.Veil = p.Reflected.Sum() + back*p.SetLux
	}
	return patches, nil
}

// settle solves light = direct + factors light by iteration. The light is nil if it
// does not settle. The error is that of ctx.
func settle(ctx context.Context, direct [][4]float64, factors []float64) (light [][4]float64, err error) {
	n := len(direct)
	light = append([][4]float64(nil), direct...)
	next := make([][4]float64, n)
	for range 1000 {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		var change, most float64
		for i := range next {
			e := direct[i]
			for j, f := range factors[i*n : (i+1)*n] {
				if f > 0 {
					for c := range e {
						e[c] += f * light[j][c]
					}
				}
			}
			for c := range e {
				change, most = max(change, math.Abs(e[c]-light[i][c])), max(most, e[c])
			}
			next[i] = e
		}
		light, next = next, light
		if change <= 1e-10*most {
			return light, nil
		}
	}
	return nil, nil
}

// Contrast is the contrast ratio that a veil leaves of a picture's white and black,
// all in cd/m²:
//
//	Contrast = (white + veil)/(black + veil)
//
// The veil of a surface of reflectance ρ under E lux is ρ E/π. Scene.Mutual adds the
// light that comes by way of other surfaces. white is 1e-12 to 1e12. black and veil are
// 0 to 1e12, and black is at most white. ok is false outside these ranges, and if black
// and veil are both 0.
func Contrast(white, black, veil float64) (ratio float64, ok bool) {
	zero := valid.Closed(0, valid.Luminances.Max)
	if !valid.Luminances.Contains(white) || !zero.Contains(black) || !zero.Contains(veil) || black > white || !(black+veil > 0) {
		return 0, false
	}
	ratio = (white + veil) / (black + veil)
	return ratio, ratio <= math.MaxFloat64
}

// Drive is the factor by which to change the luminance of the walls, so that a
// receiver gets wanted lux, of which the set lights give set and the walls give
// walls now:
//
//	Drive = (wanted − set)/walls
//
// Its stops are log2 Drive. The illuminance wanted for an exposure is that of an
// incident light meter. wanted and walls are 1e-12 to 1e12 lx, set is 0 to below
// wanted; ok is false outside.
func Drive(wanted, set, walls float64) (factor float64, ok bool) {
	if !valid.Illuminances.Contains(wanted) || !valid.Illuminances.Contains(walls) || !(set >= 0 && set < wanted) {
		return 0, false
	}
	return (wanted - set) / walls, true
}
