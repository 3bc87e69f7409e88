package clock_test

import (
	"testing"

	"example.com/platewright/internal/near"
	"example.com/platewright/internal/ref"
	"example.com/platewright/sync/clock"
	"example.com/platewright/sync/internal/trial"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// digitBits are the bits of digits, those of the flags 0: 0xff less what is left of
// it where each field is cleared in 0xffffffff.
const digitBits = ^(uint32(0xffffffc0) & 0xffff80ff & 0xff80ffff & 0xc0ffffff)

func TestPublishedWords(t *testing.T) {
	pack := func(w clock.Word, p clock.Packing) uint32 { return trial.Must(w.Pack(p)) }
	sixty := clock.SixtyField
	ref.Equal(t, "T-WORD-DIGITS", pack(clock.Word{Frames: 29}, sixty), 0x00000029)
	ref.Equal(t, "T-WORD-DIGITS", pack(clock.Word{Seconds: 59}, sixty), 0x00005900)
	ref.Equal(t, "T-WORD-DIGITS", pack(clock.Word{Minutes: 59}, sixty), 0x00590000)
	ref.Equal(t, "T-WORD-DIGITS", pack(clock.Word{Hours: 23}, sixty), 0x23000000)
	ref.Equal(t, "T-WORD-DIGITS", pack(clock.Word{Drop: true}, sixty), 0x00000040)
	ref.Equal(t, "T-WORD-DIGITS", pack(clock.Word{ColourFrame: true}, sixty), 0x00000080)

	// All flags set but the field.
	flags := clock.Word{Drop: true, ColourFrame: true, GroupFlags: 7}
	ref.Equal(t, "T-WORD-FLAGS", pack(flags, sixty), 0xffff7fff&^digitBits)
	flags.Drop = false
	ref.Equal(t, "T-WORD-FLAGS", pack(flags, clock.FiftyField), 0x7fffffbf&^digitBits)
	flags.ColourFrame = false
	ref.Equal(t, "T-WORD-FLAGS", pack(flags, clock.TwentyFourFrame), 0xffff7f3f&^digitBits)

	w := trial.Must(clock.Unpack(0x23595929|0x80000000, sixty))
	assert.EqualValues(t, 4, w.GroupFlags, "what the field of one packing is in another")
	w = trial.Must(clock.Unpack(0x23595929|0x80000000, clock.FiftyField))
	ref.Equal(t, "T-WORD-FIELD", pack(w, sixty), 0x2359d929)

	w = trial.Must(clock.Unpack(421729315, clock.TwentyFourFrame))
	ref.Equal(t, "T-WORD-LABEL", w, clock.Word{Hours: 19, Minutes: 23, Seconds: 14, Frames: 23})
	ref.Equal(t, "T-WORD-LABEL", pack(w, clock.TwentyFourFrame), 421729315)

	groups := [8]uint8{1, 2, 3, 4, 5, 6, 7, 8}
	ref.Equal(t, "T-WORD-USER", clock.UserGroups(0x87654321), groups)
	ref.Equal(t, "T-WORD-USER", trial.Must(clock.UserBits(groups)), 0x87654321)
}

func TestPairsOfFrames(t *testing.T) {
	at50 := timecode(trial.Rate(50, 1), false)
	w := trial.Must(at50.Word(49))
	ref.Equal(t, "T-WORD-PAIRS", w, clock.Word{Frames: 24, Field: true})
	ref.Equal(t, "T-WORD-PAIRS", trial.Must(at50.WordFrame(w)), 49)
	at60 := timecode(trial.Rate(60000, 1001), false)
	w = trial.Must(at60.Word(59))
	ref.Equal(t, "T-WORD-PAIRS", w, clock.Word{Frames: 29, Field: true})
	ref.Equal(t, "T-WORD-PAIRS", trial.Must(at60.WordFrame(w)), 59)
}

// Every frame of each second has its word, in order, and at 96 and more two share one.
func TestWordsCountFrames(t *testing.T) {
	for name, c := range countings() {
		tc := c.timecode()
		shared := int64(1)
		switch {
		case c.nominal == 72:
			trial.Refused(t, clock.ErrInvalid, trial.Second(tc.Word(0)), trial.Second(tc.WordFrame(clock.Word{})))
			continue
		case c.nominal > 72:
			shared = 2
		}
		for n := int64(3599*c.nominal) / 2 * 2; n < int64(3601*c.nominal); n += shared {
			w := trial.Must(tc.Word(n))
			require.Equal(t, n, trial.Must(tc.WordFrame(w)), name)
			if shared == 2 {
				require.Equal(t, w, trial.Must(tc.Word(n+1)), name)
			}
			require.NotEqual(t, w, trial.Must(tc.Word(n+shared)), name)
			require.Equal(t, c.nominal > 30 && int(n/shared)%2 == 1, w.Field, name) // hours begin with an even frame
			require.Equal(t, c.skipped > 0, w.Drop, name)
		}
		last := tc.Wrap(-1)
		assert.Equal(t, last-shared+1, trial.Must(tc.WordFrame(trial.Must(tc.Word(last)))), name)
		trial.Refused(t, clock.ErrInvalid, trial.Second(tc.Word(-1)), trial.Second(tc.Word(last+1)))
	}
}

// Every word of every packing comes back, its flags too.
func TestWordsRoundTrip(t *testing.T) {
	near.NumbersOnly(t)
	for p, words := range map[clock.Packing]int{clock.SixtyField: 64, clock.FiftyField: 32, clock.TwentyFourFrame: 16} {
		seen := map[uint32]bool{}
		for flags := range 64 {
			w := clock.Word{Hours: flags % 24, Minutes: flags % 60, Seconds: 59 - flags%60, Frames: flags % 30, GroupFlags: uint8(flags & 7), Field: flags&8 != 0, ColourFrame: flags&16 != 0, Drop: flags&32 != 0}
			if w.Drop && p != clock.SixtyField || w.ColourFrame && p == clock.TwentyFourFrame {
				trial.Refused(t, clock.ErrInvalid, trial.Second(w.Pack(p)))
				continue
			}
			word := trial.Must(w.Pack(p))
			assert.Equal(t, w, trial.Must(clock.Unpack(word, p)))
			seen[word&^digitBits] = true
		}
		assert.Len(t, seen, words, p)
	}
}

func TestWordsRefused(t *testing.T) {
	for _, bad := range []uint32{0x0000000a, 0x00000030, 0x00000a00, 0x00006000, 0x007a0000, 0x00600000, 0x24000000, 0x1a000000} {
		w, err := clock.Unpack(bad, clock.SixtyField)
		assert.ErrorIs(t, err, clock.ErrInvalid, "%#x", bad)
		assert.Zero(t, w)
	}
	trial.Refused(t, clock.ErrInvalid,
		trial.Second(clock.Unpack(0, 0)), trial.Second(clock.Unpack(0, 4)),
		trial.Second(clock.Word{}.Pack(0)), trial.Second(clock.Word{}.Pack(4)),
		trial.Second(clock.Word{Hours: 24}.Pack(clock.SixtyField)), trial.Second(clock.Word{Minutes: 60}.Pack(clock.SixtyField)),
		trial.Second(clock.Word{Seconds: -1}.Pack(clock.SixtyField)), trial.Second(clock.Word{Frames: 30}.Pack(clock.SixtyField)),
		trial.Second(clock.Word{GroupFlags: 8}.Pack(clock.SixtyField)),
		trial.Second(clock.UserBits([8]uint8{7: 16})),
	)
	drop := timecode(trial.Rate(60000, 1001), true)
	for why, w := range map[string]clock.Word{
		"names no frame": {Minutes: 1, Frames: 1, Field: true, Drop: true}, "must be true": {}, "minutes 60": {Minutes: 60, Drop: true},
		"seconds 60": {Seconds: 60, Drop: true}, "hours 24": {Hours: 24, Drop: true}, "frames 30": {Frames: 30, Drop: true}, "frames -1": {Frames: -1, Drop: true},
	} {
		assert.ErrorContains(t, trial.Second(drop.WordFrame(w)), why)
	}
	assert.EqualValues(t, 3600, trial.Must(drop.WordFrame(clock.Word{Minutes: 1, Frames: 2, Drop: true})))
	// Fields of interlaced frames are no frames.
	assert.EqualValues(t, 5, trial.Must(timecode(trial.Rate(25, 1), false).WordFrame(clock.Word{Frames: 5, Field: true})))
}

func TestDatesInUserBits(t *testing.T) {
	// 23 May 2026, the digits from group 6 down to 1.
	d := clock.Date{Year: 2026, Month: 5, Day: 23}
	ref.Equal(t, "T-WORD-DATE", trial.Must(d.UserBits()), 0x260523)
	ref.Equal(t, "T-WORD-DATE", trial.Must(clock.UserDate(0x260523)), d)
	assert.Equal(t, d, trial.Must(clock.UserDate(0x38260523)), "in a zone")
	last := clock.Date{Year: 2099, Month: 12, Day: 31}
	assert.Equal(t, last, trial.Must(clock.UserDate(trial.Must(last.UserBits()))))
	trial.Refused(t, clock.ErrInvalid, trial.Second(clock.UserDate(0x80260523)), trial.Second(clock.UserDate(0x26052a)), trial.Second(clock.UserDate(0x260a23)),
		trial.Second(clock.UserDate(0)), trial.Second(clock.UserDate(0x260230)), trial.Second(clock.UserDate(0xf60523)), trial.Second(clock.UserDate(0x26050d)))
	for _, bad := range []clock.Date{{}, {2100, 1, 1}, {1999, 12, 31}, {2026, 13, 1}, {2026, 0, 1}, {2026, 1, 0}, {2026, 2, 29}, {2026, 4, 31}} {
		trial.Refused(t, clock.ErrInvalid, trial.Second(bad.UserBits()))
	}
	assert.EqualValues(t, 0x280229, trial.Must(clock.Date{2028, 2, 29}.UserBits()))
}
