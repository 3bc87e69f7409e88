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
	c.Int("width", 0, "px", 1, 1<<24)
	c.Number("f-number", math.NaN(), "", valid.Closed(0.5, 128))
	c.Frequency("refresh", 1, valid.Between[unit.Frequency](1, unit.Frequency(math.Inf(1))))
	c.Unset("model")
	want := `lens: focal length -3 mm: must be more than 0 m and at most 10 m
lens: roll 180°: must be at least 0° and less than 90°
lens: width 0 px: must be at least 1 and at most 16777216 px
lens: f-number NaN: must be at least 0.5 and at most 128
lens: refresh 1 Hz: must be more than 1 Hz
lens: model: must be set`
	assert.EqualError(t, c.Err(), want)
	assert.ErrorIs(t, c.Err(), errTest)
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
	assert.NoError(t, c.Err())
	assert.True(t, c.OK())
}

// A bare number of an angle or a length that is too large is told from one that is
// only too large.
func TestForgottenUnitsAreAskedFor(t *testing.T) {
	turn := valid.Closed(-2*math.Pi, 2*math.Pi)
	for v, want := range map[unit.Angle]string{
		90:      "x: heading 5156.62°: must be at least -360° and at most 360° (a bare number is in radians: is 90*Degree meant?)",
		-45:     "x: heading -2578.31°: must be at least -360° and at most 360° (a bare number is in radians: is -45*Degree meant?)",
		7:       "x: heading 401.07°: must be at least -360° and at most 360°",
		1e300:   "x: heading 5.72958e+301°: must be at least -360° and at most 360°",
		math.Pi: "",
	} {
		c := valid.New("x", errTest)
		c.Angle("heading", v, turn)
		if want == "" {
			assert.NoError(t, c.Err())
		} else {
			assert.EqualError(t, c.Err(), want)
		}
	}
}

// What is wrong with a part is wrong with the whole: the sentinels of both match.
func TestPartsOfAnotherPackage(t *testing.T) {
	inner, outer := errors.New("inner"), errors.New("outer")
	part, whole := valid.New("part", inner), valid.New("whole", outer)
	part.Number("n", 2, "", valid.Closed(0.0, 1.0))
	whole.Add("the part", part.Err())
	if err := whole.Err(); !errors.Is(err, inner) || !errors.Is(err, outer) || err.Error() != "the part: part: n 2: must be at least 0 and at most 1" {
		t.Errorf("got %v", err)
	}
}
