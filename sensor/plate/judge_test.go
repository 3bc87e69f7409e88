package plate_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/sensor/plate"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/unit"
)

const full16 = 65535

// gamma is a recording's curve, and its inverse.
func gamma(light float64) float64 { return math.Pow(max(light, 0), 1/2.4) }
func linear(code float64) float64 { return math.Pow(code/full16, 2.4) }

// A grey card in a real scene, in codes of a curve: its light, and the stops from what
// it should be.
func TestGreyCards(t *testing.T) {
	near.NumbersOnly(t)
	var lights, stops tally
	for seed := range *plates {
		r := rand.New(rand.NewPCG(uint64(seed), 1))
		s := newScene(t, r, 160, 120, 2, 0.02, 0.8)
		grey := 0.1 + 0.2*r.Float64()
		card := plate.Region{X: 40, Y: 30, Width: 50 + r.IntN(20), Height: 40 + r.IntN(20)}
		frame := func(grey float64) plate.Plane[uint16] {
			p := record[float32](r, 160, 120, 1, func(x, y int) float64 {
				if x >= card.X && y >= card.Y && x < card.X+card.Width && y < card.Y+card.Height {
					return grey
				}
				return s.at(x, y)
			}, constant(0.01))
			q := plate.Plane[uint16]{Width: 160, Height: 120}
			for _, v := range p.Pix {
				q.Pix = append(q.Pix, uint16(math.Round(full16*gamma(float64(v)))))
			}
			return q
		}
		spec := plate.LightSpec{Region: card, Linear: linear}
		light := must[plate.Estimate](t)(plate.MeasureLight(frame(grey), spec))
		lights.add(light, grey)
		got := must[plate.Estimate](t)(plate.Stops(light, must[plate.Estimate](t)(plate.MeasureLight(frame(grey*1.3), spec))))
		stops.add(got, -0.37851162325372983) // 1.3 = 2^0.3785
		assert.Less(t, got.Uncertainty, 0.01)
	}
	lights.log(t, "light")
	ref.Within(t, "S-PLATE-WITHIN", lights.outside(), "light")
	ref.Within(t, "S-PLATE-BIAS", lights.bias(), "light")
	stops.log(t, "stops")
	ref.Within(t, "S-PLATE-WITHIN", stops.outside(), "stops")
	ref.Within(t, "S-PLATE-BIAS", stops.bias(), "stops")
}

// Takes whose exposure drifts, under light that wanders from frame to frame.
func TestDriftOfTakes(t *testing.T) {
	var drifts tally
	for seed := range 20 * *plates {
		r := rand.New(rand.NewPCG(uint64(seed), 2))
		n := 48 + r.IntN(300)
		step, slope := 0.5+5*r.Float64(), 0.2*r.NormFloat64()
		correlation, wander := 0.8*r.Float64(), 0.05*r.Float64()
		var times []unit.Time
		var stops []plate.Estimate
		cloud := 0.0
		for i := range n {
			at := 100 + step*float64(i)
			cloud = correlation*cloud + math.Sqrt(1-correlation*correlation)*wander*r.NormFloat64()
			times = append(times, unit.Time(at))
			stops = append(stops, plate.Estimate{Value: 0.3 + slope*at/60 + cloud + 0.005*r.NormFloat64(), Uncertainty: 0.005})
		}
		d, err := plate.MeasureDrift(times, stops)
		if err != nil {
			require.ErrorContains(t, err, "cannot be told from a drift")
			continue
		}
		drifts.add(d.StopsPerMinute, slope)
	}
	drifts.log(t, "drift")
	assert.Greater(t, drifts.n, 13**plates, "takes with an answer")
	ref.Within(t, "S-PLATE-WITHIN", drifts.outside(), "drift")
	ref.Within(t, "S-PLATE-BIAS", drifts.bias(), "drift")
}

// Takes of few frames without a drift, under light that wanders in other ways than by a
// correlation from frame to frame: that of one cloud that passes, of a random walk, and of
// clouds behind the noise of single frames. A wander is not called a drift.
func TestWandersThatAreNoDrift(t *testing.T) {
	takes := 40 * *plates
	wrong, answers, steady := 0, 0, 0
	for seed := range takes {
		r := rand.New(rand.NewPCG(uint64(seed), 16))
		n := 24 + r.IntN(200)
		kind := seed % 4
		correlation := 0.95 * r.Float64()
		middle, width := float64(n)*r.Float64(), float64(n)*(0.05+0.2*r.Float64())
		var times []unit.Time
		var stops []plate.Estimate
		cloud := r.NormFloat64()
		for i := range n {
			noise := 0.01 * r.NormFloat64()
			switch kind {
			case 0: // noise of single frames
			case 1:
				noise += 0.05 * math.Exp(-math.Pow((float64(i)-middle)/width, 2))
			case 2:
				cloud += r.NormFloat64()
				noise += 0.01 * cloud
			case 3:
				cloud = correlation*cloud + math.Sqrt(1-correlation*correlation)*r.NormFloat64()
				noise += 0.02 * cloud
			}
			times, stops = append(times, unit.Time(i)), append(stops, plate.Estimate{Value: noise, Uncertainty: 0.008})
		}
		d, err := plate.MeasureDrift(times, stops)
		if err != nil {
			require.ErrorContains(t, err, "cannot be told from a drift")
			continue
		}
		answers++
		if kind == 0 {
			steady++
		}
		if math.Abs(d.StopsPerMinute.Value) > 3*d.StopsPerMinute.Uncertainty {
			wrong++
		}
	}
	t.Logf("%d of %d takes wrong, %d answers, %d of %d in steady light", wrong, takes, answers, steady, takes/4)
	ref.Within(t, "S-PLATE-WITHIN", float64(wrong)/float64(takes), "wanders")
	assert.Greater(t, float64(steady), 0.95*float64(takes)/4, "steady light has an answer")
}

// Real content with noise of 40 dB, and with that of the light itself.
func TestNoiseOfPlates(t *testing.T) {
	near.NumbersOnly(t)
	var even, levels, floors, gains tally
	refused := 0
	for seed := range *plates {
		r := rand.New(rand.NewPCG(uint64(seed), 3))
		s := newScene(t, r, 320, 240, 2+2*r.Float64(), 0.05, 0.8)
		p := record[uint16](r, s.width, s.height, full16, s.at, constant(0.01))
		n, err := plate.MeasureNoise(p, plate.LightSpec{})
		if err != nil {
			refused++
			t.Log(err)
			continue
		}
		assert.Equal(t, 1, n.Spacing)
		assert.Zero(t, n.Gain, "there is none")
		even.add(n.Floor, full16*0.01)
		for _, l := range n.Levels {
			levels.add(l.Noise, full16*0.01)
		}
		const electron, read = 1. / 4000, 0.002
		shot := func(light float64) float64 { return math.Sqrt(read*read + electron*light) }
		q := record[float32](r, s.width, s.height, 1, s.at, shot)
		m := must[plate.Noise](t)(plate.MeasureNoise(q, plate.LightSpec{White: 2, Black: -1}))
		floors.add(m.Floor, shot(m.Levels[0].Light))
		if m.Gain != (plate.Estimate{}) {
			gains.add(m.Gain, electron)
		}
	}
	even.log(t, "even noise")
	ref.Within(t, "S-PLATE-WITHIN", even.outside(), "even noise")
	ref.Within(t, "S-PLATE-BIAS", even.bias(), "even noise")
	levels.log(t, "levels")
	ref.Within(t, "S-PLATE-WITHIN", levels.outside(), "levels")
	ref.Within(t, "S-PLATE-BIAS", levels.bias(), "levels")
	floors.log(t, "shot noise")
	ref.Within(t, "S-PLATE-WITHIN", floors.outside(), "shot noise")
	ref.Within(t, "S-PLATE-BIAS", floors.bias(), "shot noise")
	gains.log(t, "gain")
	ref.Within(t, "S-PLATE-WITHIN", gains.outside(), "gain")
	ref.Within(t, "S-PLATE-BIAS", gains.bias(), "gain")
	assert.Greater(t, gains.n, *plates/4, "plates in which the gain shows")
	assert.LessOrEqual(t, refused, *plates/10, "plates without a flat part")
}

const side = 72 // of a frame of a take

// take is a moving or a still shot of real content, whose light grows by a fraction a
// frame, with what a defect makes of each frame.
func take(t testing.TB, seed uint64, moving bool, growth float64, spoil func(p plate.Plane[uint16])) []plate.Plane[uint16] {
	r := rand.New(rand.NewPCG(seed, 4))
	s := newScene(t, r, 160, 110, 2+2*r.Float64(), 0.15, 0.7)
	var frames []plate.Plane[uint16]
	for i := range 13 {
		x0, y0 := 20, 20
		if moving {
			x0, y0 = 6*i+r.IntN(4), 20+r.IntN(9)
		}
		p := record[uint16](r, side, side, full16, func(x, y int) float64 { return (1 + growth*float64(i)) * s.at(x+x0, y+y0) }, constant(0.01))
		spoil(p)
		frames = append(frames, p)
	}
	return frames
}

func defects(t testing.TB, frames []plate.Plane[uint16], spec plate.DefectSpec) plate.Defects {
	t.Helper()
	m := must[*plate.DefectMeter[uint16]](t)(plate.NewDefectMeter[uint16](spec))
	for _, f := range frames {
		require.NoError(t, m.Add(f))
	}
	return must[plate.Defects](t)(m.Measure())
}

// Defects of twice the limit are found in real content that moves, and nothing else is,
// whether it moves or not.
func TestDefectsInTakes(t *testing.T) {
	near.NumbersOnly(t)
	planted, found, alarms, takes := 0, 0, 0, 0
	for seed := range *plates {
		clean := func(plate.Plane[uint16]) {}
		takes++
		moving := defects(t, take(t, uint64(seed), true, 0, clean), plate.DefectSpec{NothingStays: true})
		still := defects(t, take(t, uint64(seed), false, 0, clean), plate.DefectSpec{})
		brightening := defects(t, take(t, uint64(seed), false, 0.03, clean), plate.DefectSpec{})
		if len(moving.Sites)+len(still.Sites)+len(brightening.Sites) > 0 {
			alarms++
		}
		assert.Equal(t, 13, moving.Frames)

		r := rand.New(rand.NewPCG(uint64(seed), 5))
		want := map[[2]int]plate.DefectKind{}
		for i := range 12 {
			want[[2]int{6*i + r.IntN(5), r.IntN(side)}] = plate.DefectKind(i%3 + 1)
		}
		got := defects(t, take(t, uint64(seed), true, 0, func(p plate.Plane[uint16]) {
			for at, kind := range want {
				v := &p.Pix[at[1]*side+at[0]]
				switch kind {
				case plate.Hot:
					*v += full16 / 10 // twice the limit
				case plate.Dead:
					*v = uint16(200 * r.Float64())
				case plate.Stuck:
					*v = full16 * 9 / 10
				}
			}
		}), plate.DefectSpec{NothingStays: true})
		planted += len(want)
		for _, d := range got.Sites {
			kind := want[[2]int{d.X, d.Y}]
			switch {
			case kind == 0:
				alarms++
				t.Logf("seed %d: %+v", seed, d)
			case kind == d.Kind, kind == plate.Stuck && d.Kind == plate.Hot:
				// In content that hardly changes, what is stuck looks hot.
				found++
				assert.Equal(t, kind != plate.Dead, d.Deviation > 0)
			default:
				t.Logf("seed %d: %v for %v", seed, d, kind)
			}
		}
	}
	t.Logf("%d of %d found, %d false alarms in %d takes", found, planted, alarms, takes)
	ref.Within(t, "S-PLATE-DETECTED", 1-float64(found)/float64(planted))
	ref.Within(t, "S-PLATE-ALARMS", float64(alarms)/float64(takes))
}

// A veil over real content: bounded always, and found where a part is black. In every other
// plate noise is interpolated, as that of a mosaic: neighbours have it in common.
func TestVeils(t *testing.T) {
	near.NumbersOnly(t)
	var veils tally
	below := 0
	for seed := range *plates {
		r := rand.New(rand.NewPCG(uint64(seed), 6))
		s := newScene(t, r, 240, 180, 2, 0.01+0.05*r.Float64(), 0.8)
		veil, noLight := 0.005+0.03*r.Float64(), 0.05
		x0, y0 := r.IntN(180), r.IntN(130)
		raw := make([]float64, (s.width+1)*(s.height+1))
		for i := range raw {
			raw[i] = 0.01 * r.NormFloat64()
		}
		grain := func(x, y int) float64 {
			at := y*(s.width+1) + x
			if seed%2 == 0 {
				return raw[at]
			}
			return (raw[at] + raw[at+1] + raw[at+s.width+1] + raw[at+s.width+2]) / 4
		}
		for _, black := range []bool{true, false} {
			p := record[float32](r, s.width, s.height, 1, func(x, y int) float64 {
				l := s.at(x, y)
				if black && x >= x0 && y >= y0 && x < x0+60 && y < y0+50 {
					l = 0
				}
				return l + veil + noLight + grain(x, y)
			}, constant(0))
			f := must[plate.Flare](t)(plate.MeasureFlare(p, plate.FlareSpec{NoLight: plate.Estimate{Value: noLight, Uncertainty: 1e-5}, LightSpec: plate.LightSpec{Black: -1}}))
			if black {
				veils.add(f.AtMost, veil)
				assert.True(t, f.Darkest.X > x0-8 && f.Darkest.X < x0+60 && f.Darkest.Y > y0-8 && f.Darkest.Y < y0+50, "%+v", f)
			}
			if f.AtMost.Value+3*f.AtMost.Uncertainty < veil {
				below++
			}
		}
	}
	veils.log(t, "veil")
	ref.Within(t, "S-PLATE-WITHIN", veils.outside(), "veil")
	ref.Within(t, "S-PLATE-BIAS", veils.bias(), "veil")
	ref.Within(t, "S-PLATE-WITHIN", float64(below)/float64(2**plates))
}

// Nothing is clipped in real content with noise of 40 dB up to four deviations from the
// ends; a lamp that clips twice the fraction of a cell always is.
func TestClippingOfPlates(t *testing.T) {
	near.NumbersOnly(t)
	alarms, missed := 0, 0
	for seed := range *plates {
		r := rand.New(rand.NewPCG(uint64(seed), 7))
		s := newScene(t, r, 192, 128, 2, 0.04, 0.96)
		lamp := 1 + r.IntN(2)
		for _, on := range []bool{false, true} {
			x0, y0 := 64*lamp+r.IntN(64-23), 64+r.IntN(64-23)
			p := record[uint16](r, s.width, s.height, full16, func(x, y int) float64 {
				if on && x >= x0 && y >= y0 && x < x0+23 && y < y0+23 { // 529 of 4096: two 16ths
					return 1.5
				}
				return s.at(x, y)
			}, constant(0.01))
			m := must[*plate.LevelMeter[uint16]](t)(plate.NewLevelMeter[uint16](plate.LevelSpec{}))
			require.NoError(t, m.Add(p))
			l := must[plate.Levels](t)(m.Measure())
			areas := l.Clipped.Areas
			switch {
			case on && (len(areas) != 1 || areas[0].Region != plate.Region{X: 64 * lamp, Y: 64, Width: 64, Height: 64}):
				missed++
			case !on && len(areas) > 0, len(l.Crushed.Areas) > 0:
				alarms++
			}
		}
	}
	ref.Within(t, "S-PLATE-DETECTED", float64(missed)/float64(*plates), "areas")
	ref.Within(t, "S-PLATE-ALARMS", float64(alarms)/float64(*plates), "areas")
}

// Uncertainties are not much larger than they have to be: in plates without detail, errors
// scatter by a third or more.
func TestUncertaintiesAreTight(t *testing.T) {
	near.NumbersOnly(t)
	const electron, read, frames = 1. / 2000, 0.003, 24
	var floors, gains []float64
	least := math.Inf(1)
	for seed := range frames {
		r := rand.New(rand.NewPCG(uint64(seed), 14))
		shot := func(light float64) float64 { return math.Sqrt(read*read + electron*light) }
		top := 0.1 + 0.6*float64(seed)/frames // a gain that hardly shows, and one that does
		p := record[float32](r, 200, 200, 1, func(x, y int) float64 { return 0.1 + top*float64(x)/200 }, shot)
		n := must[plate.Noise](t)(plate.MeasureNoise(p, plate.LightSpec{White: 2, Black: -1}))
		q := record[float32](r, 200, 200, 1, func(x, y int) float64 { return 0.1 + top*float64(x)/200 }, constant(0.01))
		floor := must[plate.Noise](t)(plate.MeasureNoise(q, plate.LightSpec{White: 2, Black: -1})).Floor
		floors = append(floors, (floor.Value-0.01)/floor.Uncertainty)
		if n.Gain != (plate.Estimate{}) {
			gains = append(gains, (n.Gain.Value-electron)/n.Gain.Uncertainty)
			least = min(least, n.Gain.Value/n.Gain.Uncertainty)
		}
	}
	ref.Within(t, "S-PLATE-TIGHT", math.Abs(math.Log2(stat.StdDev(floors, nil))), "floor")
	ref.Within(t, "S-PLATE-TIGHT", math.Abs(math.Log2(stat.StdDev(gains, nil))), "gain")
	assert.GreaterOrEqual(t, least, 5.0, "five uncertainties")
	assert.Less(t, least, 8.0, "no more than five are asked for")

	// The correlation of a wander, in takes of 60 frames.
	mean := 0.0
	for seed := range 400 {
		r := rand.New(rand.NewPCG(uint64(seed), 15))
		var times []unit.Time
		var stops []plate.Estimate
		wander := r.NormFloat64()
		for i := range 60 {
			wander = 0.5*wander + math.Sqrt(0.75)*r.NormFloat64()
			times, stops = append(times, unit.Time(i)), append(stops, plate.Estimate{Value: wander, Uncertainty: 2})
		}
		mean += must[plate.Drift](t)(plate.MeasureDrift(times, stops)).Correlation / 400
	}
	assert.InDelta(t, 0.5, mean, 0.02, "deviation of 0.12 in one take, 0.006 in 400")
}

// Details as small as a photosite, in takes that pan slowly, stop, or shake, are no
// defects.
func TestFineDetailsAreNoDefects(t *testing.T) {
	near.NumbersOnly(t)
	const width, height, fine = 200, 120, 4 // a quarter of a pixel from sample to sample
	alarms := 0
	for seed := range *plates {
		r := rand.New(rand.NewPCG(uint64(seed), 16))
		s := newScene(t, r, (width+60)*fine, (height+20)*fine, fine, 0.05, 0.9)
		speed, tilt := 0.03+0.2*r.Float64(), 0.5*r.Float64()
		hz, phase, size := 0.1+0.4*r.Float64(), 6*r.Float64(), 0.5+2*r.Float64()
		m := must[*plate.DefectMeter[uint16]](t)(plate.NewDefectMeter[uint16](plate.DefectSpec{}))
		for i := range 24 {
			n := float64(i)
			x, y := 2+speed*n, 2+tilt*speed*n // slow
			switch seed % 4 {
			case 1: // stops
				x = 2 + 3*float64(i/8*4+min(i%8, 3))
			case 2: // shakes
				x, y = 6+size*math.Sin(2*math.Pi*hz*n+phase), 6+size*math.Cos(2*math.Pi*1.3*hz*n)
			}
			x0, y0 := int(fine*x), int(fine*y)
			require.NoError(t, m.Add(record[uint16](r, width, height, full16, func(x, y int) float64 { return s.at(x0+fine*x, y0+fine*y) }, constant(0.01))))
		}
		if got := must[plate.Defects](t)(m.Measure()); len(got.Sites) > 0 {
			alarms++
			t.Logf("seed %d: %d sites, %d unconfirmed, as %+v", seed, len(got.Sites), got.Unconfirmed, got.Sites[0])
		}
	}
	t.Logf("%d of %d takes", alarms, *plates)
	ref.Within(t, "S-PLATE-ALARMS", float64(alarms)/float64(*plates), "fine details")
}
