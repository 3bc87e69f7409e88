package lens_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/ref"
	"example.com/platewright/lens"
	"github.com/stretchr/testify/assert"
	"gonum.org/v1/gonum/unit"
)

const cm = unit.Centi * unit.Metre

func TestThinLensOfTextbooks(t *testing.T) {
	for _, r := range []struct {
		id       string
		f, do    unit.Length
		di, m    float64 // di in units of f
		expected string
	}{
		{"L-T1", 10 * cm, 50 * cm, 1.25, -0.25, "12.5 cm"},
		{"L-T3", 10 * cm, 20 * cm, 2, -1, "20 cm, life size"},
		{"L-T4", 50 * cm, 75 * cm, 3, -2, "1.5 m"},
	} {
		di := must[unit.Length](t)(lens.ImageDistance(r.f, r.do))
		ref.Near(t, r.id, float64(di/r.f), r.di, r.expected)
		ref.Near(t, r.id, must[float64](t)(lens.Magnification(r.f, r.do)), r.m, "magnification")
	}
	for id, r := range map[string][3]unit.Length{ // mm
		"L-T5": {5, 500, 5.05}, "L-T6": {5, 5000, 5.005}, "L-T9": {22, 66, 33},
	} {
		ref.Near(t, id, must[unit.Length](t)(lens.ImageDistance(r[0]*mm, r[1]*mm))/mm, r[2])
	}
	sun := must[float64](t)(lens.Magnification(100*mm, 1.50e11))
	ref.Near(t, "L-T11", sun*1.40e12, -0.933, "mm")
}

// refracted is where a ray from an object on the axis, which meets a lens close
// to its middle, comes back to the axis, by the law of refraction at two
// spherical faces. The lens is of a glass of index 1.5 and has no thickness;
// faces of radius f on both sides then give it the focal length f.
func refracted(f, object unit.Length) unit.Length {
	const index = 1.5
	r := float64(f)
	height := 1e-7 * r
	out := math.Atan(height / float64(object)) // away from the axis
	normal := math.Asin(height / r)            // of the first face, away from it too
	// Snell's law holds for angles from the normal.
	within := math.Asin(math.Sin(out+normal)/index) - normal
	// The second face is hollow where the first is full.
	behind := math.Asin(index*math.Sin(within-normal)) + normal
	return unit.Length(-height / math.Tan(behind))
}

func TestThinLensByRefraction(t *testing.T) {
	for _, r := range []struct{ f, do unit.Length }{{5, 500}, {5, 5000}, {35, 750}, {200, 10e6}, {35, 36}} { // mm
		di := must[unit.Length](t)(lens.ImageDistance(r.f*mm, r.do*mm))
		ref.Near(t, "L-T12", di/mm, refracted(r.f, r.do), r)
		// The ray through the middle of the lens is not bent: the image is as many
		// times as high as it is far, and on the other side of the axis.
		m := must[float64](t)(lens.Magnification(r.f*mm, r.do*mm))
		ref.Near(t, "L-T12", m, -float64(refracted(r.f, r.do)/r.do), r, "magnification")
	}
}

func TestThinLensEnds(t *testing.T) {
	far := unit.Length(inf)
	for _, r := range []struct{ f, do, di unit.Length }{
		{35 * mm, far, 35 * mm}, {1, 1 + 0x1p-52, 0x1p52 + 1}, {2, 4, 4}, {0.1 * mm, 0.2 * mm, 0.2 * mm},
	} {
		assert.Equal(t, r.di, must[unit.Length](t)(lens.ImageDistance(r.f, r.do)), "%v", r)
	}
	m := must[float64](t)(lens.Magnification(35*mm, far))
	assert.True(t, m == 0 && !math.Signbit(m), "infinity is imaged at the size %v", m)
	for _, r := range []struct {
		f, do unit.Length
		want  string
	}{
		{-4 * cm, 4, "lens: focal length -40 mm: must be at least 100 µm and at most 2 m"},
		{0, 4, "focal length 0 m"},
		{12, 20, "is 12 mm meant?"},
		{2.1, 5, "focal length 2.1 m"},
		{0.09 * mm, 5, "focal length 90 µm"},
		{4 * cm, 4 * cm, "lens: object distance 40 mm: must be more than 40 mm"},
		{4 * cm, 3 * cm, "object distance 30 mm"},
		{4 * cm, -4, "object distance -4 m"},
		{4 * cm, unit.Length(nan), "object distance NaN m"},
	} {
		_, err := lens.ImageDistance(r.f, r.do)
		refuses(t, err, r.want)
		_, err = lens.Magnification(r.f, r.do)
		refuses(t, err, r.want)
	}
}

func TestThinLensProperties(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for range 2000 {
		f := math.Exp(rng.Float64()*6 - 6)
		do := f * (1 + math.Exp(rng.NormFloat64()*3))
		image := func(object float64) float64 {
			return float64(must[unit.Length](t)(lens.ImageDistance(unit.Length(f), unit.Length(object))))
		}
		di := image(do)
		assert.InEpsilon(t, f*f, (do-f)*(di-f), 1e-15*(1+do/f)*(1+di/f), "Newton's form, (do − f)(di − f) = f²: ulps of the two distances over their excess")
		assert.InEpsilon(t, -di/do, must[float64](t)(lens.Magnification(unit.Length(f), unit.Length(do))), 1e-15, "four roundings each")
		assert.InEpsilon(t, do, image(di), 4e-15*do/f, "light runs both ways: error of the image distance, magnified")
	}
}
