package clock

import (
	"fmt"
	"strconv"
	"time"

	"example.com/platewright/internal/enum"
)

// Packing says which flag stands at which bit of a word. The digits stand at the
// same bits in all packings.
//
// Bit 0 is the least significant:
//
//	bits    0–3  4–5  8–11  12–14  16–19  20–22  24–27  28–29
//	digits  frames    seconds      minutes       hours
//
//	bit       6     7             15      23    30    31
//	60-field  drop  colour frame  field   BGF0  BGF1  BGF2
//	50-field  –     colour frame  BGF0    BGF2  BGF1  field
//	24-frame  –     –             field   BGF0  BGF1  BGF2
//
// Source: SMPTE 12M-1999, as OpenEXR's library codes it.
type Packing uint8

// The packings. The time code of an OpenEXR file is stored as 60-field at any rate.
const (
	SixtyField      Packing = iota + 1 // television of 60 fields: 24 and 30 frames and their multiples
	FiftyField                         // television of 50 fields: 25 frames and their multiples
	TwentyFourFrame                    // film
)

var packings = enum.New[Packing](ErrInvalid, []string{SixtyField: "60-field", FiftyField: "50-field", TwentyFourFrame: "24-frame"})

// String gives "60-field", "50-field" or "24-frame".
func (p Packing) String() string { return packings.Name(p) }

// MarshalText gives the name. An unknown Packing is an error.
func (p Packing) MarshalText() ([]byte, error) { return packings.Marshal(p) }

// UnmarshalText reads a name.
func (p *Packing) UnmarshalText(text []byte) error { return packings.Unmarshal(p, text) }

// flags are the bits of a packing. A flag that it lacks has no bit, 0.
type flags struct {
	drop, colour, field uint32
	group               [3]uint32
}

var flagsOf = [...]flags{
	SixtyField:      {1 << 6, 1 << 7, 1 << 15, [3]uint32{1 << 23, 1 << 30, 1 << 31}},
	FiftyField:      {0, 1 << 7, 1 << 31, [3]uint32{1 << 15, 1 << 30, 1 << 23}},
	TwentyFourFrame: {0, 0, 1 << 15, [3]uint32{1 << 23, 1 << 30, 1 << 31}},
}

// maxFrames is the most that a word numbers in a second.
const maxFrames = 30

// Word is what the 32 bits of a binary timecode hold, in picture files and in RTP.
//
// A word numbers at most 30 frames a second. At 48, 50 and 60 frames a second it
// numbers pairs of frames, and Field tells the second frame of a pair. At 96, 100
// and 120 it numbers quads, and Field tells the second half of a quad.
type Word struct {
	Hours, Minutes, Seconds int
	Frames                  int  // of a frame, a pair or a quad
	Drop                    bool // the labels are with drop
	ColourFrame             bool // the label follows the colour frames of an analogue signal
	Field                   bool // the second of two fields, or the second half of a pair or quad

	// GroupFlags says what the user bits hold: the binary group flags BGF0 in bit 0,
	// BGF1 in bit 1 and BGF2 in bit 2.
	GroupFlags uint8
}

// Pack returns the word as a number. Numbers that are no time of a day, frames above
// 29, and a flag that the packing lacks are errors.
//
// Packed as 60-field it is the number that an OpenEXR file holds, like 0x19231423 for
// 19:23:14:23. RTP (RFC 5484, from memory) sends the byte of the frames first: take
// bits.ReverseBytes32 of the number.
func (w Word) Pack(p Packing) (uint32, error) {
	c := newChecker()
	packings.Check(c, "packing", p)
	if !c.OK() {
		return 0, c.Err()
	}
	f := flagsOf[p]
	c.Int("hours", w.Hours, "", 0, 23)
	c.Int("minutes", w.Minutes, "", 0, 59)
	c.Int("seconds", w.Seconds, "", 0, 59)
	c.Int("frames", w.Frames, "", 0, maxFrames-1)
	c.Int("group flags", int(w.GroupFlags), "", 0, 7)
	if w.Drop && f.drop == 0 {
		c.Fault("drop", "true", "must be false: the packing %s lacks the flag", p)
	}
	if w.ColourFrame && f.colour == 0 {
		c.Fault("colour frame", "true", "must be false: the packing %s lacks the flag", p)
	}
	if !c.OK() {
		return 0, c.Err()
	}
	word := uint32(0)
	for _, v := range [4]int{w.Hours, w.Minutes, w.Seconds, w.Frames} {
		word = word<<8 | uint32(v/10<<4|v%10)
	}
	set := func(on bool, bit uint32) {
		if on {
			word |= bit
		}
	}
	set(w.Drop, f.drop)
	set(w.ColourFrame, f.colour)
	set(w.Field, f.field)
	for k, bit := range f.group {
		set(w.GroupFlags>>k&1 != 0, bit)
	}
	return word, nil
}

// Unpack reads a word from a number. It is the inverse of Word.Pack, but takes no
// notice of bits that the packing leaves unused. Digits that are no time, like 0x7a
// or 61 seconds, are errors.
func Unpack(word uint32, p Packing) (Word, error) {
	c := newChecker()
	packings.Check(c, "packing", p)
	if !c.OK() {
		return Word{}, c.Err()
	}
	f := flagsOf[p]
	digits := func(field string, shift int, mask uint32, limit int) int {
		v := word >> shift & mask
		tens, ones := int(v>>4), int(v&15)
		if n := 10*tens + ones; ones <= 9 && n < limit {
			return n
		}
		c.Fault(field, fmt.Sprintf("%#x", v), "must be two decimal digits of at most %d", limit-1)
		return 0
	}
	w := Word{
		Hours: digits("hours", 24, 0x3f, 24), Minutes: digits("minutes", 16, 0x7f, 60),
		Seconds: digits("seconds", 8, 0x7f, 60), Frames: digits("frames", 0, 0x3f, maxFrames),
		Drop: word&f.drop != 0, ColourFrame: word&f.colour != 0, Field: word&f.field != 0,
	}
	for k, bit := range f.group {
		if word&bit != 0 {
			w.GroupFlags |= 1 << k
		}
	}
	if !c.OK() {
		return Word{}, c.Err()
	}
	return w, nil
}

// inWord is the number of frames that share one number of a word: 1, 2 or 4. ok is
// false at 72 frames a second, which make neither pairs nor quads.
func (tc Timecode) inWord() (frames uint64, ok bool) {
	switch {
	case tc.nominal <= 30:
		return 1, true
	case tc.nominal <= 60:
		return 2, true
	}
	return 4, tc.nominal != 72
}

func (tc Timecode) checkWords() error {
	if err := tc.check(); err != nil {
		return err
	}
	if _, ok := tc.inWord(); !ok {
		return newChecker().Refuse("rate", tc.rate.String(), "must not be 72 or 72000/1001: its frames make neither pairs nor quads for a word")
	}
	return nil
}

// Word returns the numbers and the drop flag of frame n as a word. Its other flags are
// false. At 96, 100 and 120 frames a second two frames share a word: n − WordFrame of
// it is 1 for the second of them. A frame outside the day of 24 labelled hours is an
// error (see Wrap), and so is a rate of 72 or 72000/1001.
//
// Pairs: SMPTE ST 12-1:2014, section 12.1, as FFmpeg codes it. Quads continue its
// rule; a signal that carries them may add bits that a word lacks.
func (tc Timecode) Word(n int64) (Word, error) {
	if err := tc.checkWords(); err != nil {
		return Word{}, err
	}
	if n < 0 || n >= tc.day() {
		return Word{}, newChecker().Refuse("frame", strconv.FormatInt(n, 10), "must be at least 0 and less than %d, a day of labels", tc.day())
	}
	group, _ := tc.inWord()
	l := tc.label(n)
	return Word{
		Hours: int(l.hours), Minutes: int(l.minutes), Seconds: int(l.seconds), Frames: int(l.frame / group),
		Drop: tc.drop != 0, Field: 2*(l.frame%group) >= group,
	}, nil
}

// WordFrame returns the index of the frame that a word names. At 96, 100 and 120
// frames a second it is the first of the two that share the word. Field counts above
// 30 frames a second only: below, it tells fields or phases, not frames.
//
// Numbers outside a day, a drop flag that is not that of the timecode, a label that
// drop skips, and a rate of 72 or 72000/1001 are errors.
func (tc Timecode) WordFrame(w Word) (int64, error) {
	if err := tc.checkWords(); err != nil {
		return 0, err
	}
	group, _ := tc.inWord()
	c := newChecker()
	c.Int("hours", w.Hours, "", 0, 23)
	c.Int("minutes", w.Minutes, "", 0, 59)
	c.Int("seconds", w.Seconds, "", 0, 59)
	c.Int("frames", w.Frames, "", 0, int(tc.nominal/group)-1)
	if w.Drop != (tc.drop != 0) {
		c.Fault("drop", strconv.FormatBool(w.Drop), "must be %v, as the timecode's", tc.drop != 0)
	}
	if !c.OK() {
		return 0, c.Err()
	}
	l := label{hours: uint64(w.Hours), minutes: uint64(w.Minutes), seconds: uint64(w.Seconds), frame: uint64(w.Frames) * group}
	if w.Field {
		l.frame += group / 2
	}
	return tc.frame(l, fmt.Sprintf("%02d:%02d:%02d%c%0*d", l.hours, l.minutes, l.seconds, tc.separator(), tc.digits(), l.frame))
}

// UserGroups returns the eight binary groups of the user bits, each 0 to 15. Group 1
// comes first and stands in the lowest four bits.
func UserGroups(user uint32) [8]uint8 {
	var groups [8]uint8
	for k := range groups {
		groups[k] = uint8(user >> (4 * k) & 15)
	}
	return groups
}

// UserBits returns the user bits that hold these groups. It is the inverse of
// UserGroups. A group above 15 is an error.
func UserBits(groups [8]uint8) (uint32, error) {
	c := newChecker()
	user := uint32(0)
	for k, g := range groups {
		c.Int(fmt.Sprintf("group %d", k+1), int(g), "", 0, 15)
		user |= uint32(g) << (4 * k)
	}
	if !c.OK() {
		return 0, c.Err()
	}
	return user, nil
}

// Date is the day that user bits can carry.
type Date struct {
	Year       int // 2000 to 2099: user bits hold two digits
	Month, Day int // from 1
}

// UserBits returns user bits with the date: the digits of day, month and year in
// groups 1 to 6, ones first. Groups 7 and 8 are 0, which stands for a date of UTC. A
// date that no calendar has, or outside 2000 to 2099, is an error.
//
// Word.GroupFlags tells a reader of it: BGF2 is set and BGF0 is not. Source: SMPTE ST
// 309, from memory.
func (d Date) UserBits() (uint32, error) {
	c := newChecker()
	c.Int("year", d.Year, "", 2000, 2099)
	c.Int("month", d.Month, "", 1, 12)
	c.Int("day", d.Day, "", 1, 31)
	if c.OK() && time.Date(d.Year, time.Month(d.Month), d.Day, 0, 0, 0, 0, time.UTC).Day() != d.Day {
		c.Fault("day", strconv.Itoa(d.Day), "must be a day of month %d of %d", d.Month, d.Year)
	}
	if !c.OK() {
		return 0, c.Err()
	}
	y := d.Year - 2000
	return uint32(d.Day%10 | d.Day/10<<4 | d.Month%10<<8 | d.Month/10<<12 | y%10<<16 | y/10<<20), nil
}

// UserDate reads the date from user bits. It is the inverse of Date.UserBits and takes
// no notice of the time zone in groups 7 and 8: the date is that of the zone. Digits
// that are no date are an error, and so are user bits that hold a modified Julian
// date, by the top bit of group 8.
func UserDate(user uint32) (Date, error) {
	if user>>31 != 0 {
		return Date{}, newChecker().Refuse("user bits", fmt.Sprintf("%#08x", user), "must hold day, month and year: a modified Julian date is not read")
	}
	number := func(shift int) int { return int(user>>shift&15 + 10*(user>>(shift+4)&15)) }
	d := Date{2000 + number(16), number(8), number(0)}
	// Groups above 9 do not survive the way back.
	if bits, err := d.UserBits(); err != nil || bits != user&0xffffff {
		return Date{}, newChecker().Refuse("user bits", fmt.Sprintf("%#08x", user), "must hold decimal digits of a date in groups 1 to 6")
	}
	return d, nil
}
