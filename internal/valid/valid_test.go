package valid_test

import (
	"errors"
	"math"
	"testing"

	"example.com/platewright/internal/valid"
	"github.com/stretchr/testify/assert"
	"gonum.org/v1/gonum/unit"
)

var errTest = errors.New("invalid")

func TestMessagesNameFieldValueAndRange(t *testing.T) {
	c := valid.New("lens", errTest)
	c.Length("focal length", -3*unit.Milli*unit.Metre, valid.Above[unit.Length](0, 10))
	c.Angle("roll", unit.Angle(math.Pi), valid.Below[unit.Angle](0, math.Pi/2))
	c.Time("exposure", -1, valid.Above[unit.Time](0, 3600))
	c.Int("width", 0, "px", 1, 1<<24)
	c.Number("f-number", math.NaN(), "", valid.Closed(0.5, 128))
	c.Frequency("refresh", 1, valid.Between[unit.Frequency](1, unit.Frequency(math.Inf(1))))
	c.Number("gain", 3, "dB", valid.Below(math.Inf(-1), 3.0))
	c.Number("heading", math.Inf(1), "", valid.Finite())
	c.Int("bits", 17, "", 8, 16)
	c.Int("rows", 1<<24+1, "px", 1, valid.MaxSide)
	c.Unset("model")
	want := `lens: focal length -3 mm: must be more than 0 m and at most 10 m
lens: roll 180°: must be at least 0° and less than 90°
lens: exposure -1 s: must be more than 0 s and at most 1 h
lens: width 0 px: must be at least 1 and at most 16777216 px
lens: f-number NaN: must be at least 0.5 and at most 128
lens: refresh 1 Hz: must be more than 1 Hz
lens: gain 3 dB: must be less than 3 dB
lens: heading +Inf: must be a finite number
lens: bits 17: must be at least 8 and at most 16
lens: rows 16777217 px: must be at least 1 and at most 16777216 px
lens: model: must be set`
	assert.EqualError(t, c.Err(), want)
	assert.ErrorIs(t, c.Err(), errTest)
	assert.False(t, c.OK())
}

func TestRangeEnds(t *testing.T) {
	inf := math.Inf(1)
	for _, tc := range []struct {
		r    valid.Range
		v    float64
		want bool
	}{
		{valid.Closed(0.0, 1.0), 0, true}, {valid.Closed(0.0, 1.0), 1, true},
		{valid.Above(0.0, 1.0), 0, false}, {valid.Above(0.0, 1.0), 1, true},
		{valid.Below(0.0, 1.0), 0, true}, {valid.Below(0.0, 1.0), 1, false},
		{valid.Finite(), inf, false}, {valid.Finite(), math.NaN(), false}, {valid.Finite(), -1e300, true},
		{valid.Closed(0, inf), inf, true}, {valid.Closed(0, inf), math.NaN(), false},
	} {
		assert.Equal(t, tc.want, tc.r.Contains(tc.v), "%+v, %v", tc.r, tc.v)
	}
}

func TestNoFaultIsNil(t *testing.T) {
	c := valid.New("x", errTest)
	c.Number("n", 1, "", valid.Closed(0.0, 1.0))
	c.Int("width", 1, "px", 1, 9)
	c.Int("width", 9, "px", 1, 9)
	assert.NoError(t, c.Err())
	assert.True(t, c.OK())
}

// A bare number of an angle or a length that is too large is told from one that is
// only too large.
func TestForgottenUnitsAreAskedFor(t *testing.T) {
	turn := valid.Closed(-2*math.Pi, 2*math.Pi)
	for v, want := range map[unit.Angle]string{
		90:      "5156.62°: must be at least -360° and at most 360° (a bare number is in radians: is 90*Degree meant?)",
		300:     "17188.7°: must be at least -360° and at most 360° (a bare number is in radians: is 300*Degree meant?)",
		-45:     "-2578.31°: must be at least -360° and at most 360° (a bare number is in radians: is -45*Degree meant?)",
		13:      "744.845°: must be at least -360° and at most 360° (a bare number is in radians: is 13*Degree meant?)",
		12.5:    "716.197°: must be at least -360° and at most 360°",
		1e300:   "5.72958e+301°: must be at least -360° and at most 360°",
		math.Pi: "",
	} {
		c := valid.New("x", errTest)
		c.Angle("heading", v, turn)
		assertError(t, c, "x: heading ", want)
	}
	c := valid.New("x", errTest)
	c.Angle("winding", 90, valid.Closed(0, 100.0))
	assert.NoError(t, c.Err(), "many turns are allowed here")
	for v, want := range map[unit.Length]string{
		35:    "35 m: must be at least 1 µm and at most 2 m (a bare number is in metres: is 35 mm meant?)",
		2000:  "2 km: must be at least 1 µm and at most 2 m (a bare number is in metres: is 2 m meant?)",
		35e3:  "35 km: must be at least 1 µm and at most 2 m (a bare number is in metres: is 35 mm meant?)",
		35e6:  "35000 km: must be at least 1 µm and at most 2 m (a bare number is in metres: is 35 mm meant?)",
		1e10:  "1e+07 km: must be at least 1 µm and at most 2 m",
		-35:   "-35 m: must be at least 1 µm and at most 2 m",
		0.035: "",
		2:     "",
	} {
		c := valid.New("x", errTest)
		c.Length("focal length", v, valid.Closed[unit.Length](1e-6, 2))
		assertError(t, c, "x: focal length ", want)
	}
}

// assertError asserts that c has the one fault start + want, or none for "".
func assertError(t *testing.T, c *valid.Checker, start, want string) {
	t.Helper()
	if want == "" {
		assert.NoError(t, c.Err())
		return
	}
	assert.EqualError(t, c.Err(), start+want)
}

// What is wrong with a part is wrong with the whole: the sentinels of both match.
func TestPartsOfAnotherPackage(t *testing.T) {
	inner, outer := errors.New("inner"), errors.New("outer")
	part, whole := valid.New("part", inner), valid.New("whole", outer)
	part.Number("n", 2, "", valid.Closed(0.0, 1.0))
	whole.Add("a good part", nil)
	assert.True(t, whole.OK())
	whole.Add("the part", part.Err())
	if err := whole.Err(); !errors.Is(err, inner) || !errors.Is(err, outer) || err.Error() != "the part: part: n 2: must be at least 0 and at most 1" {
		t.Errorf("got %v", err)
	}
}
