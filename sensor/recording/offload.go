package recording

import (
	"example.com/platewright/internal/enum"
	"example.com/platewright/internal/valid"
	"gonum.org/v1/gonum/unit"
)

// OffloadSpec describes a station that copies media to stores. All stores are written
// at the same time from one reading of a medium. Rates are sustained, in byte/s,
// 1 to 1e15.
type OffloadSpec struct {
	// Readers is how many media are read at the same time, 1 to 1000. Zero means 1.
	Readers int
	// ReadBytesPerSecond is the rate of one reader.
	ReadBytesPerSecond float64
	// Copies is how many stores each get a copy, 1 to 100.
	Copies int
	// WriteBytesPerSecond is the rate at which one store takes data.
	WriteBytesPerSecond float64
	// VerifyBytesPerSecond is the rate at which one store gives its copy back, to be
	// compared with checksums taken while copying. Zero means no verification.
	VerifyBytesPerSecond float64
	// LinkBytesPerSecond is the rate of a link that carries the data of all stores.
	// Zero means that each has a link of its own, fast enough.
	LinkBytesPerSecond float64
}

// Offload is how fast a station copies and verifies. It is immutable and comparable.
// The methods of its zero value return zeros and false.
type Offload struct {
	readers                      int
	reading, storing, verifying  float64 // byte/s of one reader, of what takes the data, and 0 without verification
	storingLimit, verifyingLimit Limit
}

// Limit is what limits an off-load or a day. Its zero value is NoLimit.
type Limit uint8

// The limits.
const (
	NoLimit Limit = iota

	// Of an off-load.
	Readers // read too slowly
	Stores  // are written or read too slowly
	Link    // carries too little

	// Of a day.
	TakeTooLong  // for an empty medium
	NoFreeMedium // all are full, or not off-loaded yet
	NoTimeToSwap // between two takes
)

var limits = enum.New[Limit](ErrInvalid, []string{
	NoLimit: "no limit", Readers: "readers", Stores: "stores", Link: "link",
	TakeTooLong: "take too long", NoFreeMedium: "no free medium", NoTimeToSwap: "no time to swap",
})

// String gives a name like "readers".
func (l Limit) String() string { return limits.Name(l) }

// MarshalText gives the name. An unknown Limit is an error.
func (l Limit) MarshalText() ([]byte, error) { return limits.Marshal(l) }

// UnmarshalText reads a name. Any other text is an error and leaves l unchanged.
func (l *Limit) UnmarshalText(text []byte) error { return limits.Unmarshal(l, text) }

// NewOffload makes an Offload.
func NewOffload(spec OffloadSpec) (Offload, error) {
	if spec.Readers == 0 {
		spec.Readers = 1
	}
	c := valid.New("recording", ErrInvalid)
	c.Int("readers", spec.Readers, "", 1, 1000)
	c.Number("rate of a reader", spec.ReadBytesPerSecond, "B/s", speeds)
	c.Int("copies", spec.Copies, "", 1, 100)
	c.Number("rate of writing", spec.WriteBytesPerSecond, "B/s", speeds)
	if spec.VerifyBytesPerSecond != 0 {
		c.Number("rate of verification", spec.VerifyBytesPerSecond, "B/s", speeds)
	}
	if spec.LinkBytesPerSecond != 0 {
		c.Number("rate of the link", spec.LinkBytesPerSecond, "B/s", speeds)
	}
	if err := c.Err(); err != nil {
		return Offload{}, err
	}
	o := Offload{readers: spec.Readers, reading: spec.ReadBytesPerSecond, storing: spec.WriteBytesPerSecond, storingLimit: Stores}
	link := spec.LinkBytesPerSecond / float64(spec.Copies)
	if link != 0 && link < o.storing {
		o.storing, o.storingLimit = link, Link
	}
	if spec.VerifyBytesPerSecond != 0 {
		o.verifying, o.verifyingLimit = spec.VerifyBytesPerSecond, Stores
		if link != 0 && link < o.verifying {
			o.verifying, o.verifyingLimit = link, Link
		}
	}
	return o, nil
}

// OffloadTime is how long data take at a station.
type OffloadTime struct {
	// Copy and Verify come one after the other. Verify is 0 without verification.
	Copy, Verify unit.Time
	// CopyLimit and VerifyLimit are what limits each. VerifyLimit is NoLimit
	// without verification.
	CopyLimit, VerifyLimit Limit
}

// Time is how long media take to be copied to all stores and verified there. Each of
// them holds bytes/media.
//
//	copy   = rounds · (readers · bytes/media) / min(readers · reading, writing, link/copies)
//	       + (left · bytes/media) / min(left · reading, writing, link/copies)
//	verify = bytes / min(verification, link/copies)
//
// In each of the rounds, all readers have a medium; the media that are left after them,
// fewer than the readers, are read in a last one. Readers is the limit of copying if it
// is that of any round. ok is false if the number of media is outside 1 to 1e9, or the
// amount outside 0 to 1e30 bytes.
func (o Offload) Time(media int, bytes float64) (t OffloadTime, ok bool) {
	if o == (Offload{}) || media < 1 || media > 1e9 || !amounts.Contains(bytes) {
		return OffloadTime{}, false
	}
	t = OffloadTime{CopyLimit: o.storingLimit, VerifyLimit: o.verifyingLimit}
	read := func(media, readers int, bytes float64) {
		if media == 0 {
			return
		}
		rate := float64(readers) * o.reading
		if rate > o.storing {
			rate = o.storing
		} else {
			t.CopyLimit = Readers
		}
		t.Copy += unit.Time(bytes / rate)
	}
	left := media % o.readers
	share := float64(left) / float64(media)
	read(media-left, o.readers, bytes*(1-share))
	read(left, left, bytes*share)
	if o.verifying != 0 {
		t.Verify = unit.Time(bytes / o.verifying)
	}
	return t, true
}
