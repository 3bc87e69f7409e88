package clock_test

import (
	"fmt"
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	timing "example.com/platewright/sync"
	"example.com/platewright/sync/clock"
	"example.com/platewright/sync/internal/trial"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// odometer counts labels as a person would.
type odometer struct {
	h, m, s, f       int
	nominal, skipped int
}

func (o *odometer) step() {
	if o.f++; o.f < o.nominal {
		return
	}
	o.f = 0
	if o.s++; o.s < 60 {
		return
	}
	o.s = 0
	if o.m++; o.m == 60 {
		o.m = 0
		o.h = (o.h + 1) % 24
	}
	if o.m%10 != 0 {
		o.f = o.skipped
	}
}

func (o odometer) String() string {
	sep, width := ":", 2
	if o.skipped > 0 {
		sep = ";"
	}
	if o.nominal >= 100 {
		width = 3
	}
	return fmt.Sprintf("%02d:%02d:%02d%s%0*d", o.h, o.m, o.s, sep, width, o.f)
}

// TestDailyJam counts the labels of three days by hand, among them one with a leap
// second.
func TestDailyJam(t *testing.T) {
	near.NumbersOnly(t)
	const ( // of UTC
		dec31 = 17166 * 86400
		jan1  = 17167 * 86400
	)
	for name, c := range map[string]struct {
		counting
		at, offset int64    // s
		jams       [3]int64 // of PTP, by hand
		label      odometer
	}{
		"drop": {counting{trial.Rate(30000, 1001), 30, 2}, 7200, 0, [3]int64{dec31 + 7200 + 36, jan1 + 7200 + 37, jan1 + 93600 + 37}, odometer{h: 2}},
		"drop in the east": {counting{trial.Rate(60000, 1001), 60, 4}, 4 * 3600, 9 * 3600,
			[3]int64{dec31 - 5*3600 + 36, jan1 - 5*3600 + 36, jan1 + 19*3600 + 37}, odometer{h: 4}},
		"at a label that drop skips": {counting{trial.Rate(30000, 1001), 30, 2}, 3660, -3600, [3]int64{dec31 + 7260 + 36, jan1 + 7260 + 37, jan1 + 93660 + 37}, odometer{h: 1, m: 1, f: 2}},
		"no drop":                    {counting{trial.Rate(24000, 1001), 24, 0}, 0, 0, [3]int64{dec31 + 36, jan1 + 37, jan1 + 86400 + 37}, odometer{}},
		"whole":                      {counting{trial.Rate(25, 1), 25, 0}, 86399, 0, [3]int64{dec31 - 1 + 36, jan1 - 2 + 37, jan1 + 86399 + 37}, odometer{h: 23, m: 59, s: 59}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			spec := clock.DailyJamSpec{Timecode: clock.TimecodeSpec{Rate: c.rate, Drop: c.skipped > 0}, At: trial.Seconds(c.at, 1), Offset: trial.Seconds(c.offset, 1)}
			d := trial.Must(clock.NewDailyJam(spec, clock.LeapTable{}))
			num, den := c.rate.Ratio()
			ceil := func(s int64) int64 { return (s*num + den - 1) / den }
			begins := func(n int64) timing.Seconds { return trial.Seconds(n*den, num) }

			count := c.label
			count.nominal, count.skipped = c.nominal, c.skipped
			jam := 0
			set := ceil(c.jams[0])
			last := c.jams[2] + 3600
			for n := set; n*den < last*num; n++ {
				look := n%100_003 == 0
				if jam < 2 {
					rest := ceil(c.jams[jam+1]) - n
					look = look || rest == 1 || rest == 0
					if rest == 0 {
						jam++
						// How many steps of the odometer from the label that would have come.
						fresh := c.label
						fresh.nominal, fresh.skipped = c.nominal, c.skipped
						steps, back := int64(0), int64(0)
						for o := count; o != fresh; o.step() {
							steps++
						}
						for o := fresh; o != count; o.step() {
							back++
						}
						if back < steps {
							steps = -back
						}
						want := clock.JamStep{At: begins(n), Before: count.String(), After: fresh.String(), Skipped: steps}
						ref.Equal(t, "T-JAM", trial.Must(d.NextJam(begins(n-1))), want)
						ref.Equal(t, "T-JAM", trial.Must(d.NextJam(trial.Seconds(n*den*10-1, num*10))), want, "to the end of the frame before")
						assert.Equal(t, want, trial.Must(d.NextJam(begins(set))), "from the jam before on")
						count, set = fresh, n
					}
				}
				if look {
					// Somewhere in the frame.
					got := trial.Must(d.AtPTP(trial.Seconds(n*den*10+n%(10*den), num*10)))
					ref.Equal(t, "T-JAM", got.Label, count.String(), n)
					ref.Equal(t, "T-JAM", got.Frame, n)
					ref.Equal(t, "T-JAM", got.Jam, begins(set), n)
					assert.False(t, got.Expired)
					// Local time at its beginning, in units of 1/num s.
					leap := int64(36) // the last leap second belongs to the day before
					if n*den >= (jan1+37)*num {
						leap = 37
					}
					local := ((n*den-leap*num)%(86400*num) + c.offset*num + 86400*num) % (86400 * num)
					if n*den >= (jan1+36)*num && n*den < (jan1+37)*num {
						local = (local-num+86400*num)%(86400*num) + num // 23:59:60
					}
					reads := int64(count.h*3600+count.m*60+count.s)*num + int64(count.f)*num/int64(c.nominal)
					ahead := reads - local
					if ahead > 43200*num {
						ahead -= 86400 * num
					} else if ahead < -43200*num {
						ahead += 86400 * num
					}
					ref.Equal(t, "T-JAM", got.Ahead, trial.Seconds(ahead, num), n)
				}
				count.step()
			}
			require.Equal(t, 2, jam)
		})
	}
}

// A whole rate keeps its labels right but for a leap second, from there to the jam.
func TestLeapSecondOnLabels(t *testing.T) {
	var leaps clock.LeapTable
	spec := clock.DailyJamSpec{Timecode: clock.TimecodeSpec{Rate: trial.Rate(25, 1)}, At: trial.Seconds(7200, 1)}
	d := trial.Must(clock.NewDailyJam(spec, leaps))
	for at, want := range map[string]string{
		"2016-12-31T23:59:59.96Z": "23:59:59:24 0 s", "2016-12-31T23:59:60Z": "00:00:00:00 0 s", "2016-12-31T23:59:60.5Z": "00:00:00:12 0 s",
		"2017-01-01T00:00:00Z": "00:00:01:00 1 s", "2017-01-01T01:59:59.9Z": "02:00:00:22 1 s", "2017-01-01T02:00:00Z": "02:00:00:00 0 s",
	} {
		got := trial.Must(d.AtPTP(trial.Must(leaps.Parse(at)).PTP))
		assert.Equal(t, want, got.Label+" "+got.Ahead.String(), at)
	}
	step := trial.Must(d.NextJam(trial.Must(leaps.Parse("2017-01-01T00:00:00Z")).PTP))
	assert.EqualValues(t, -25, step.Skipped)
	assert.False(t, step.Expired)
	expired := trial.Must(d.AtPTP(trial.Must(leaps.Parse("2026-06-28T00:00:00Z")).PTP))
	assert.True(t, expired.Expired)
	assert.True(t, trial.Must(d.NextJam(trial.Must(leaps.Parse("2026-06-27T23:00:00Z")).PTP)).Expired)
}

func TestDailyJamsRefused(t *testing.T) {
	good := clock.DailyJamSpec{Timecode: clock.TimecodeSpec{Rate: trial.Rate(25, 1)}}
	for why, spoil := range map[string]func(*clock.DailyJamSpec){
		"rate no rate":             func(s *clock.DailyJamSpec) { s.Timecode.Rate = timing.Rate{} },
		"time of the jam -1 s":     func(s *clock.DailyJamSpec) { s.At = trial.Seconds(-1, 1) },
		"time of the jam 86400 s":  func(s *clock.DailyJamSpec) { s.At = trial.Seconds(86400, 1) },
		"time of the jam 1/2 s":    func(s *clock.DailyJamSpec) { s.At = trial.Seconds(1, 2) },
		"offset from UTC 50401 s":  func(s *clock.DailyJamSpec) { s.Offset = trial.Seconds(50401, 1) },
		"offset from UTC -50401 s": func(s *clock.DailyJamSpec) { s.Offset = trial.Seconds(-50401, 1) },
	} {
		spec := good
		spoil(&spec)
		_, err := clock.NewDailyJam(spec, clock.LeapTable{})
		assert.ErrorIs(t, err, clock.ErrInvalid, why)
		assert.ErrorContains(t, err, why)
	}
	d := trial.Must(clock.NewDailyJam(good, clock.LeapTable{}))
	trial.Refused(t, clock.ErrInvalid,
		trial.Second(d.AtPTP(timing.Seconds{})), trial.Second(d.NextJam(timing.Seconds{})),
		trial.Second(d.AtPTP(trial.Seconds(63072009, 1))), // before UTC
		trial.Second(clock.DailyJam{}.AtPTP(trial.Seconds(1e9, 1))), trial.Second(clock.DailyJam{}.NextJam(trial.Seconds(1e9, 1))),
	)
	var leaps clock.LeapTable
	end := trial.Must(leaps.Parse("2261-12-31T23:59:59Z")).PTP
	assert.Equal(t, "23:59:59:00", trial.Must(d.AtPTP(end)).Label)
	trial.Refused(t, clock.ErrInvalid, trial.Second(d.NextJam(end)))
	for _, edge := range []int64{-50400, 50400} {
		spec := good
		spec.At, spec.Offset = trial.Seconds(86399, 1), trial.Seconds(edge, 1)
		d := trial.Must(clock.NewDailyJam(spec, clock.LeapTable{}))
		first := trial.Must(d.AtPTP(trial.Seconds(63072010+2*86400, 1)))
		assert.Zero(t, first.Ahead)
	}
}
