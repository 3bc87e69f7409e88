package lens_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/lens"
	"gonum.org/v1/gonum/unit"
)

const cm = unit.Centi * unit.Metre

func TestThinLensTextbook(t *testing.T) {
	for _, r := range []struct {
		id           string
		f, do, di, m unit.Length // cm; m a plain number
	}{
		{"L-T1", 10, 50, 12.5, -0.25},
		{"L-T2", 10, 5, -10, 2},
		{"L-T3", 10, 20, 20, -1},
		{"L-T4", 50, 75, 150, -2},
	} {
		di, err := lens.ImageDistance(r.f*cm, r.do*cm)
		if err != nil {
			t.Fatal(err)
		}
		m, err := lens.Magnification(r.f*cm, r.do*cm)
		if err != nil {
			t.Fatal(err)
		}
		do, err := lens.ObjectDistance(r.f*cm, r.di*cm)
		if err != nil {
			t.Fatal(err)
		}
		f, err := lens.FocalLength(r.do*cm, r.di*cm)
		if err != nil {
			t.Fatal(err)
		}
		ref.Near(t, r.id, di/cm, r.di, "image")
		ref.Near(t, r.id, m, float64(r.m), "magnification")
		ref.Near(t, r.id, do/cm, r.do, "object")
		ref.Near(t, r.id, f/cm, r.f, "focal length")
	}
}

// refracted is where a ray from an object on the axis, which meets a lens close
// to its middle, comes back to the axis, by the law of refraction at two
// spherical faces. The lens is of a glass of index 1.5 and has no thickness;
// faces of radius f on both sides then give it the focal length f.
func refracted(f, object unit.Length) unit.Length {
	const index = 1.5
	r := float64(f)
	height := 1e-7 * math.Abs(r)
	out := math.Atan(height / float64(object)) // away from the axis
	normal := math.Asin(height / r)            // of the first face, away from it too
	// Snell's law holds for angles from the normal.
	within := math.Asin(math.Sin(out+normal)/index) - normal
	// The second face is hollow where the first is full.
	behind := math.Asin(index*math.Sin(within-normal)) + normal
	return unit.Length(-height / math.Tan(behind))
}

func TestThinLensCameras(t *testing.T) {
	for _, r := range []struct {
		id        string
		f, do, di unit.Length // mm
	}{
		{"L-T5", 5, 500, 5.05},
		{"L-T6", 5, 5000, 5.005},
		{"L-T12", 5, 500, refracted(5, 500)},
		{"L-T12", 5, 5000, refracted(5, 5000)},
		{"L-T12", 35, 750, refracted(35, 750)},
		{"L-T12", 200, 10e6, refracted(200, 10e6)},
		{"L-T12", 200, 150, refracted(200, 150)}, // a virtual image
		{"L-T12", -80, 300, refracted(-80, 300)}, // a diverging lens
	} {
		di, err := lens.ImageDistance(r.f*mm, r.do*mm)
		if err != nil {
			t.Fatal(err)
		}
		ref.Near(t, r.id, di/mm, r.di)
	}
	// The ray through the middle of the lens is not bent: a cliff of 1 km, 10 km
	// away, is a tenth as high in the image as the image is far.
	cliff, _ := lens.Magnification(200*mm, 10e3)
	ref.Near(t, "L-T12", -cliff*1000e3, float64(refracted(200, 10e6))/10, "height of the cliff, mm")
	sun, _ := lens.Magnification(100*mm, 1.50e11)
	ref.Near(t, "L-T11", sun*1.40e12, -0.933, "mm")
}

func TestThinLensAnswerKey(t *testing.T) {
	// The answer key prints a magnification of −0.333 for these distances, but
	// −di/do is −0.5, and the printed 6.60 cm agrees with that.
	do, err := lens.ObjectDistance(22*mm, 33*mm)
	if err != nil {
		t.Fatal(err)
	}
	ref.Near(t, "L-T9", do/mm, 66)
	m, err := lens.Magnification(22*mm, do)
	if err != nil {
		t.Fatal(err)
	}
	ref.Near(t, "L-T9m", m, -0.5)
}

func TestThinLensEnds(t *testing.T) {
	far := unit.Length(inf)
	for _, r := range []struct {
		name      string
		f         func(a, b unit.Length) (unit.Length, error)
		a, b      unit.Length
		want      float64
		wantError bool
	}{
		{"object at infinity", lens.ImageDistance, 35 * mm, far, 0.035, false},
		{"object at the focal point", lens.ImageDistance, 35 * mm, 35 * mm, inf, false},
		{"object just outside", lens.ImageDistance, 1, 1 + 0x1p-52, 0x1p52 + 1, false},
		{"object just inside", lens.ImageDistance, 1, 1 - 0x1p-53, -0x1p53 + 1, false},
		{"diverging lens", lens.ImageDistance, -1, 1, -0.5, false},
		{"diverging lens, infinity", lens.ImageDistance, -1, far, -1, false},
		{"no focal length", lens.ImageDistance, 0, 1, 0, true},
		{"object on the lens", lens.ImageDistance, 1, 0, 0, true},
		{"object behind the lens", lens.ImageDistance, 1, -1, 0, true},
		{"image at the focal point", lens.ObjectDistance, 35 * mm, 35 * mm, inf, false},
		{"image at infinity", lens.ObjectDistance, 35 * mm, far, 0.035, false},
		{"virtual image at infinity", lens.ObjectDistance, 35 * mm, -far, 0.035, false},
		{"image within the focal length", lens.ObjectDistance, 35 * mm, 20 * mm, 0, true},
		{"diverging lens, virtual image", lens.ObjectDistance, -1, -0.5, 1, false},
		{"diverging lens, real image", lens.ObjectDistance, -1, 1, 0, true},
		{"diverging lens, image too far in front", lens.ObjectDistance, -1, -2, 0, true},
		{"focal length, object at infinity", lens.FocalLength, far, 50 * mm, 0.05, false},
		{"focal length, image at infinity", lens.FocalLength, 50 * mm, far, 0.05, false},
		{"image where the object is", lens.FocalLength, 50 * mm, -50 * mm, 0, true},
		{"the longest focal length", lens.FocalLength, 4, 4, 2, false},
		{"too long a focal length", lens.FocalLength, 4.1, 4.1, 0, true},
		{"the shortest focal length", lens.FocalLength, 0.2 * mm, 0.2 * mm, 1e-4, false},
		{"too short a focal length", lens.FocalLength, -0.19 * mm, 0.095 * mm, 0, true},
		{"12 mm taken for 12 m", lens.ImageDistance, 12, 20, 0, true},
		{"12 mm taken for 12 m, diverging", lens.ImageDistance, -12, 20, 0, true},
		{"diverging", lens.FocalLength, 1, -0.5, -1, false},
		{"no image", lens.FocalLength, 1, 0, 0, true},
	} {
		got, err := r.f(r.a, r.b)
		if (err != nil) != r.wantError {
			t.Errorf("%s: error %v", r.name, err)
			continue
		}
		near.Abs(t, r.name, float64(got), r.want, 0, "exact")
	}
	if m, err := lens.Magnification(35*mm, far); err != nil || m != 0 || math.Signbit(m) {
		t.Errorf("magnification of infinity: %v, %v", m, err)
	}
	if m, err := lens.Magnification(35*mm, 35*mm); err != nil || !math.IsInf(m, -1) {
		t.Errorf("magnification at the focal point: %v, %v", m, err)
	}
}

func TestThinLensProperties(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for range 2000 {
		f := unit.Length(math.Exp(rng.Float64()*6-6)) * unit.Metre
		do := f * unit.Length(1+math.Exp(rng.NormFloat64()*3))
		di, err := lens.ImageDistance(f, do)
		if err != nil {
			t.Fatal(err)
		}
		// Newton's form of the lens equation, (do − f)(di − f) = f².
		near.Rel(t, "Newton's form", float64((do-f)*(di-f)), float64(f*f), 1e-15*float64((1+do/f)*(1+di/f)), "ulps of the two distances over their excess")
		m, _ := lens.Magnification(f, do)
		near.Rel(t, "magnification", m, -float64(di/do), 1e-15, "four roundings each")
		// Light runs both ways.
		back, _ := lens.ImageDistance(f, di)
		near.Rel(t, "object and image change places", back, do, 1e-15*float64(do/f)*4, "error of the image distance, magnified")
	}
}

func FuzzThinLensRoundTrip(f *testing.F) {
	f.Add(0.05, 5.0)
	f.Add(0.1, 0.05)
	f.Add(-0.1, 0.05)
	f.Add(1.0, 1+0x1p-52)
	f.Add(0.035, math.Inf(1))
	f.Fuzz(func(t *testing.T, focal, object float64) {
		di, err := lens.ImageDistance(unit.Length(focal), unit.Length(object))
		if err != nil {
			return
		}
		if math.IsNaN(float64(di)) {
			t.Fatalf("ImageDistance(%v, %v) is NaN", focal, object)
		}
		if di == 0 || math.IsInf(focal/float64(di), 0) {
			return // the image touches the lens: below the smallest number
		}
		do, err := lens.ObjectDistance(unit.Length(focal), di)
		// The way back magnifies the rounding of di by do/di·|m|-like factors.
		gain := 1 + math.Abs(object/focal) + math.Abs(focal/object)
		if err != nil {
			if gain < 1e12 {
				t.Fatalf("ObjectDistance(%v, %v): %v", focal, di, err)
			}
			return
		}
		if gain < 1e12 {
			near.Rel(t, "round trip", float64(do), object, 8e-16*gain, "rounding of the image distance")
		}
	})
}
