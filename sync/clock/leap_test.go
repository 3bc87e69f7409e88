package clock_test

import (
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"example.com/platewright/internal/ref"
	timing "example.com/platewright/sync"
	"example.com/platewright/sync/clock"
	"example.com/platewright/sync/internal/trial"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestPTP(t *testing.T) {
	var leaps clock.LeapTable
	// 2017-01-01 is 17167 days after the beginning of 1970.
	first := time.Date(2017, 1, 1, 0, 0, 0, 0, time.UTC)
	want := clock.Moment{PTP: trial.Seconds(17167*86400+37, 1), Unix: trial.Seconds(1483228800, 1), TAIMinusUTC: 37}
	ref.Equal(t, "T-TAI", trial.Must(leaps.AtTime(first)), want)
	// The list gives the same moment as 3692217600 s since 1900, and 1970 as
	// 2208988800 s.
	ref.Equal(t, "T-TAI", trial.Must(leaps.AtPTP(trial.Seconds(3692217600-2208988800+37, 1))), want)
	ref.Equal(t, "T-TAI", trial.Must(leaps.Parse("2017-01-01T00:00:00Z")), want)
	before := trial.Must(leaps.Parse("2016-12-31T23:59:59Z"))
	ref.Equal(t, "T-TAI", before.TAIMinusUTC, 36)
	ref.Equal(t, "T-TAI", before.PTP, trial.Seconds(1483228835, 1))

	leap := clock.Moment{PTP: trial.Seconds(1483228836, 1), Unix: trial.Seconds(1483228799, 1), LeapSecond: true, TAIMinusUTC: 36}
	ref.Equal(t, "T-TAI", trial.Must(leaps.Parse("2016-12-31T23:59:60Z")), leap)
	ref.Equal(t, "T-TAI", trial.Must(leaps.AtPTP(leap.PTP)), leap)
	ref.Equal(t, "T-TAI", leap.Time(), time.Date(2016, 12, 31, 23, 59, 59, 0, time.UTC))
	ref.Equal(t, "T-TAI", trial.Must(leaps.Parse("2017-01-01T08:59:60+09:00")), leap, "where the sun rises")

	at := trial.Must(leaps.AtPTP(trial.Seconds(1700000000, 1)))
	ref.Equal(t, "T-TAI", at.Time(), time.Date(2023, 11, 14, 22, 12, 43, 0, time.UTC))
	ref.Equal(t, "T-TAI", trial.Must(leaps.Parse("1999-01-01T00:00:00Z")).Unix, trial.Seconds(915148800, 1))
	ref.Equal(t, "T-TAI", trial.Must(leaps.Parse("2015-07-01T00:00:00Z")).Unix, trial.Seconds(1435708800, 1))

	inZone := time.Date(2024, 2, 29, 12, 0, 0, 500, time.FixedZone("harbour", 3600))
	ref.Equal(t, "T-TAI", trial.Must(leaps.AtTime(inZone)).PTP, trial.Seconds((19782*86400+11*3600+37)*1e9+500, 1e9))
}

// Fractions of a second stay exact, in the leap second too.
func TestFractionsOfMoments(t *testing.T) {
	var leaps clock.LeapTable
	m := trial.Must(leaps.AtPTP(trial.Seconds(1483228836*30+7, 30)))
	assert.True(t, m.LeapSecond)
	assert.Equal(t, trial.Seconds(1483228799*30+7, 30), m.Unix)
	assert.Equal(t, "2016-12-31T23:59:60.233333333Z", m.String())
	half := trial.Must(leaps.Parse("2016-12-31T23:59:60.5Z"))
	assert.Equal(t, "2016-12-31T23:59:60.5Z", half.String())
	assert.Equal(t, trial.Seconds(2*1483228836+1, 2), half.PTP)
	m = trial.Must(leaps.AtPTP(trial.Seconds(1483228836*30-1, 30)))
	assert.Equal(t, "2016-12-31T23:59:59.966666666Z", m.String())
	before := clock.Moment{Unix: trial.Seconds(-1, 4)}
	assert.Equal(t, "1969-12-31T23:59:59.75Z", before.String())
}

func TestEndsOfUTC(t *testing.T) {
	var leaps clock.LeapTable
	first := trial.Must(leaps.Parse("1972-01-01T00:00:00Z"))
	assert.Equal(t, trial.Seconds(63072010, 1), first.PTP)
	assert.EqualValues(t, 10, first.TAIMinusUTC)
	last := trial.Must(leaps.Parse("2261-12-31T23:59:59.999999999Z"))
	assert.Equal(t, last, trial.Must(leaps.AtPTP(last.PTP)))
	assert.Equal(t, last, trial.Must(leaps.AtTime(last.Time())))
	trial.Refused(t, clock.ErrInvalid,
		trial.Second(leaps.Parse("1971-12-31T23:59:59.999999999Z")), trial.Second(leaps.Parse("2262-01-01T00:00:00Z")),
		trial.Second(leaps.AtPTP(trial.Must(first.PTP.Sub(trial.Seconds(1, 1e9))))), trial.Second(leaps.AtPTP(trial.Must(last.PTP.Add(trial.Seconds(1, 1e9))))),
		trial.Second(leaps.AtPTP(timing.Seconds{})), trial.Second(leaps.AtPTP(trial.Seconds(math.MaxInt64, math.MaxInt64-1))),
	)
	for _, bad := range []time.Time{{}, first.Time().Add(-1), last.Time().Add(1), time.Unix(math.MaxInt64, 0), time.Unix(math.MinInt64, 0)} {
		assert.ErrorIs(t, trial.Second(leaps.AtTime(bad)), clock.ErrInvalid, bad)
	}
	for _, bad := range []string{
		"", "2016-12-31", "2016-12-31T23:59:61Z", "2016-12-31T22:59:60Z", "2016-12-30T23:59:60Z", "2015-12-31T23:59:60Z", "2016-12-31T23:60:00Z",
		"2016-12-31T23:59:60", "2016-12-31T23:59:60X", "2261-12-31T23:59:60Z", "1971-12-31T23:59:60Z", "2017-01-01T23:59:60+09:00",
	} {
		m, err := leaps.Parse(bad)
		assert.ErrorIs(t, err, clock.ErrInvalid, bad)
		assert.Zero(t, m)
	}
}

// list writes a list of leap seconds.
func list(expires int64, rows ...[2]int64) string {
	text := fmt.Sprintf("#\tof invented leap seconds\n#$\t3945196800\n#@\t%d\n", expires)
	for _, r := range rows {
		text += fmt.Sprintf("%d\t%d\t# once\n", r[0], r[1])
	}
	return text + "#h\tabcd 1234\n"
}

func TestLeapTables(t *testing.T) {
	var leaps clock.LeapTable
	expiry := time.Date(2026, 6, 28, 0, 0, 0, 0, time.UTC)
	ref.Equal(t, "T-LEAP-LIST", leaps.Expires(), expiry)
	assert.False(t, trial.Must(leaps.AtTime(expiry.Add(-1))).Expired)
	assert.True(t, trial.Must(leaps.AtTime(expiry)).Expired)
	expired := trial.Must(leaps.AtTime(expiry.Add(100 * time.Hour)))
	assert.True(t, expired.Expired)
	assert.EqualValues(t, 37, expired.TAIMinusUTC)

	read := trial.Must(clock.ReadLeapTable(strings.NewReader(list(3991593600, [2]int64{2272060800, 10}, [2]int64{2287785600, 11}))))
	ref.Equal(t, "T-LEAP-LIST", read.Expires(), expiry)
	ref.Equal(t, "T-LEAP-LIST", trial.Must(read.Parse("1972-06-30T23:59:60Z")).PTP, trial.Must(leaps.Parse("1972-06-30T23:59:60Z")).PTP)
	assert.EqualValues(t, 11, trial.Must(read.Parse("2020-01-01T00:00:00Z")).TAIMinusUTC, "by its own rows")
}

func TestLeapTablesRefused(t *testing.T) {
	first, second := [2]int64{2272060800, 10}, [2]int64{2287785600, 11}
	for why, text := range map[string]string{
		"without rows":          list(3991593600),
		"line 4":                list(3991593600, second),
		"line 5":                list(3991593600, first, [2]int64{2287785600, 12}),
		"a later day":           list(3991593600, first, second, [2]int64{2287785600, 12}),
		"line 6":                list(3991593600, first, second, [2]int64{2287785601 + 86400, 12}),
		"a time of expiry":      "2272060800 10\n",
		"after its last row":    list(2287785600, first, second),
		"2 whole numbers":       list(3991593600, first) + "2287785600\n",
		"11 12":                 list(3991593600, first) + "2287785600 11 12\n\n",
		`"2287785600 -11"`:      list(3991593600, first) + "2287785600 -11\n",
		"1 whole numbers":       "#@\n",
		"99999999999999999":     list(3991593600, first) + "99999999999999999 11\n",
		"must hold 1":           "#@ 1 2\n",
		"list":                  strings.Repeat("x", 100_000),
		"more than 10000 lines": list(3991593600, first) + strings.Repeat("#\n", 10_000),
		"must hold 2 whole num": "an error page\n",
	} {
		read, err := clock.ReadLeapTable(strings.NewReader(text))
		assert.ErrorIs(t, err, clock.ErrInvalid, why)
		assert.ErrorContains(t, err, why)
		assert.Zero(t, read)
	}
	_, err := clock.ReadLeapTable(iotest.ErrReader(errors.New("unplugged")))
	assert.ErrorContains(t, err, "unplugged")
	for _, none := range []io.Reader{nil, (*strings.Reader)(nil)} {
		_, err = clock.ReadLeapTable(none)
		require.ErrorIs(t, err, clock.ErrInvalid)
	}
	_, err = clock.ReadLeapTable(io.LimitReader(strings.NewReader(list(3991593600, first)), 5))
	require.ErrorIs(t, err, clock.ErrInvalid)
}
