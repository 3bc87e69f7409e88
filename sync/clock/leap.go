package clock

import (
	"bufio"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"example.com/platewright/internal/valid"
	timing "example.com/platewright/sync"
	"example.com/platewright/sync/internal/whole"
)

// LeapTable is a dated list of leap seconds. The zero value is the list that the
// package holds: 28 rows, of which the last is that of 2017-01-01, valid until
// 2026-06-28. ReadLeapTable reads a later one.
//
// Source: International Earth Rotation and Reference Systems Service (IERS), list of
// leap seconds. LeapTables do not compare.
type LeapTable struct {
	rows    []leapRow // nil: builtinLeaps
	expires int64     // Unix time
}

// leapRow says what TAI − UTC is from a day on.
type leapRow struct {
	unix   int64 // the beginning of the day
	offset int64 // s
}

// ntpToUnix is the time from the beginning of 1900 to that of 1970, in seconds.
const ntpToUnix = 2208988800

// builtinLeaps are those of the list as packaged in tzdata 2025b.
var builtinLeaps = LeapTable{
	rows: []leapRow{
		day(1972, 1, 10), day(1972, 7, 11), day(1973, 1, 12), day(1974, 1, 13), day(1975, 1, 14), day(1976, 1, 15), day(1977, 1, 16),
		day(1978, 1, 17), day(1979, 1, 18), day(1980, 1, 19), day(1981, 7, 20), day(1982, 7, 21), day(1983, 7, 22), day(1985, 7, 23),
		day(1988, 1, 24), day(1990, 1, 25), day(1991, 1, 26), day(1992, 7, 27), day(1993, 7, 28), day(1994, 7, 29), day(1996, 1, 30),
		day(1997, 7, 31), day(1999, 1, 32), day(2006, 1, 33), day(2009, 1, 34), day(2012, 7, 35), day(2015, 7, 36), day(2017, 1, 37),
	},
	expires: 3991593600 - ntpToUnix,
}

// day is the row that begins with a month.
func day(year int, month time.Month, offset int64) leapRow {
	return leapRow{time.Date(year, month, 1, 0, 0, 0, 0, time.UTC).Unix(), offset}
}

// From the first row of every list on, as long as int64 counts nanoseconds.
var (
	firstUTC = time.Date(1972, time.January, 1, 0, 0, 0, 0, time.UTC).Unix()
	endOfUTC = time.Date(2262, time.January, 1, 0, 0, 0, 0, time.UTC).Unix()
)

// maxLines is many times the length of the list of IERS.
const maxLines = 10_000

// ReadLeapTable reads a list of leap seconds in the form of IERS, leap-seconds.list:
// rows of the time since 1900 and TAI − UTC, both in seconds, and a line "#@" with the
// time at which the list expires. It ignores other lines that begin with "#", the
// checksum too.
//
// The first row must be that of 1972-01-01, 10 s. Each further row must begin a later
// day, and be larger by 1 s: a second left out, which has never happened, is an error.
// So is a list of more than 10 000 lines.
func ReadLeapTable(r io.Reader) (LeapTable, error) {
	if valid.Absent(r) {
		return LeapTable{}, newChecker().Refuse("reader", "nil", "must read a list of leap seconds")
	}
	var t LeapTable
	lines := bufio.NewScanner(r)
	for n := 1; lines.Scan(); n++ {
		line := fmt.Sprintf("line %d", n)
		if n > maxLines {
			return LeapTable{}, newChecker().Refuse("list", "of more than "+strconv.Itoa(maxLines)+" lines", "must be shorter")
		}
		text, isExpiry := strings.CutPrefix(lines.Text(), "#@")
		if !isExpiry {
			text, _, _ = strings.Cut(text, "#")
		}
		fields := strings.Fields(text)
		if len(fields) == 0 && !isExpiry {
			continue
		}
		var v [2]int64
		want := 2
		if isExpiry {
			want = 1
		}
		ok := len(fields) == want
		for k := 0; k < want && ok; k++ {
			// 16 digits: sums with such times fit int64.
			u, err := strconv.ParseUint(fields[k], 10, 53)
			v[k], ok = int64(u), err == nil
		}
		switch {
		case !ok:
			return LeapTable{}, newChecker().Refuse(line, strconv.Quote(lines.Text()), "must hold %d whole numbers", want)
		case isExpiry:
			t.expires = v[0] - ntpToUnix
		default:
			row := leapRow{v[0] - ntpToUnix, v[1]}
			if k := len(t.rows); k == 0 && row != builtinLeaps.rows[0] {
				return LeapTable{}, newChecker().Refuse(line, strconv.Quote(lines.Text()), "must be the row of 1972-01-01: 2272060800 10")
			} else if k > 0 && (row.unix <= t.rows[k-1].unix || row.unix%86400 != 0 || row.offset != t.rows[k-1].offset+1) {
				return LeapTable{}, newChecker().Refuse(line, strconv.Quote(lines.Text()), "must begin a later day than the row before, with an offset larger by 1 s")
			}
			t.rows = append(t.rows, row)
		}
	}
	if err := lines.Err(); err != nil {
		return LeapTable{}, newChecker().Refuse("list", err.Error(), "must be readable")
	}
	if len(t.rows) == 0 {
		return LeapTable{}, newChecker().Refuse("list", "without rows", "must have rows like 2272060800 10")
	}
	if last := t.rows[len(t.rows)-1].unix; t.expires <= last {
		return LeapTable{}, newChecker().Refuse("list", "without a time of expiry after its last row", "must have a line like #@ 3991593600")
	}
	return t, nil
}

// or is the table, or that of the package in place of the zero value.
func (t LeapTable) or() LeapTable {
	if t.rows == nil {
		return builtinLeaps
	}
	return t
}

// Expires is the time from which the table says nothing.
func (t LeapTable) Expires() time.Time { return time.Unix(t.or().expires, 0).UTC() }

// Moment is one moment in the time of the Precision Time Protocol (PTP) and in UTC.
type Moment struct {
	PTP timing.Seconds // TAI since 1970-01-01T00:00:00 TAI

	// Unix is UTC since 1970-01-01T00:00:00, leap seconds not counted. A leap second
	// has the times of the second before it, with LeapSecond true.
	Unix       timing.Seconds
	LeapSecond bool

	TAIMinusUTC int64 // in whole seconds; in a leap second, that of the time before it

	// Expired says that the table of leap seconds does not reach the moment. PTP and
	// Unix are then apart by the table's last row, and wrong by any leap second since.
	Expired bool
}

// AtPTP returns the moment of a time of PTP. A time before 1972-01-01 UTC, when UTC
// ran at another rate, and a time after the year 2261 are errors.
func (t LeapTable) AtPTP(ptp timing.Seconds) (Moment, error) {
	t = t.or()
	s := whole.Floor(ptp.Ratio())
	first, last := t.rows[0], t.rows[len(t.rows)-1]
	if s < first.unix+first.offset || s >= endOfUTC+last.offset {
		return Moment{}, newChecker().Refuse("PTP time", ptp.String(), "must be at least %d s, the beginning of 1972, and less than %d s, the end of 2261", first.unix+first.offset, endOfUTC+last.offset)
	}
	k := len(t.rows) - 1
	for t.rows[k].unix+t.rows[k].offset > s {
		k--
	}
	m := Moment{PTP: ptp, TAIMinusUTC: t.rows[k].offset}
	passed := m.TAIMinusUTC
	if k+1 < len(t.rows) && s == t.rows[k+1].unix+t.rows[k].offset {
		m.LeapSecond = true
		passed++
	}
	m.Expired = s-passed >= t.expires
	var err error
	if m.Unix, err = shift(ptp, -passed); err != nil {
		return Moment{}, err
	}
	return m, nil
}

// AtTime returns the moment of a time of the ordinary clock, to the nanosecond. It
// cannot be in a leap second: time.Time has none. The years are those of AtPTP.
func (t LeapTable) AtTime(at time.Time) (Moment, error) {
	if s := at.Unix(); s < firstUTC || s >= endOfUTC {
		return Moment{}, newChecker().Refuse("time", at.UTC().Format(time.RFC3339), "must be in the years 1972 to 2261 of UTC")
	}
	return t.at(at, false)
}

// at is the moment of a time that is in range, or of the leap second after it.
func (t LeapTable) at(at time.Time, leap bool) (Moment, error) {
	t = t.or()
	s := at.Unix()
	k := len(t.rows) - 1
	for t.rows[k].unix > s {
		k--
	}
	ptp := s + t.rows[k].offset
	if leap {
		if ptp++; k+1 == len(t.rows) || t.rows[k+1].unix != s+1 {
			return Moment{}, newChecker().Refuse("time", at.UTC().Format(time.DateTime)[:17]+"60", "must be one of the leap seconds of the table")
		}
	}
	exact, err := timing.NewSeconds(ptp*1e9+int64(at.Nanosecond()), 1e9)
	if err != nil {
		return Moment{}, err
	}
	return t.AtPTP(exact)
}

// Parse reads a time of UTC like "2016-12-31T23:59:60Z" (RFC 3339), in any zone and
// with a leap second where the table has one. Any other second 60 is an error, and so
// are times outside the years of AtPTP.
func (t LeapTable) Parse(s string) (Moment, error) {
	const seconds = len("2016-12-31T23:59:") // before them
	text, leap := s, false
	if len(s) > seconds+2 && s[seconds:seconds+2] == "60" {
		text, leap = s[:seconds]+"59"+s[seconds+2:], true
	}
	var at time.Time
	if err := at.UnmarshalText([]byte(text)); err != nil {
		return Moment{}, newChecker().Refuse("time", strconv.Quote(s), "must be like 2016-12-31T23:59:60Z")
	}
	if u := at.Unix(); u < firstUTC || u >= endOfUTC {
		return Moment{}, newChecker().Refuse("time", strconv.Quote(s), "must be in the years 1972 to 2261 of UTC")
	}
	return t.at(at, leap)
}

// Time is UTC as the ordinary clock gives it, down to the nanosecond. In a leap
// second it is the same time of the second before.
func (m Moment) Time() time.Time {
	s := whole.Floor(m.Unix.Ratio())
	num, den := m.Unix.Ratio()
	return time.Unix(s, nanoseconds(num-s*den, den)).UTC()
}

// String gives UTC like "2016-12-31T23:59:60.5Z", down to the nanosecond.
func (m Moment) String() string {
	text := m.Time().Format(time.RFC3339Nano)
	if m.LeapSecond {
		const seconds = len("2016-12-31T23:59:")
		text = text[:seconds] + "60" + text[seconds+2:]
	}
	return text
}
