package main

import (
	"example.com/platewright/internal/enum"
	"example.com/platewright/internal/plane"
)

// frameFile is a file of a take that may hold a frame.
type frameFile struct {
	Path   string // as opened
	Name   string // the last part of Path
	Number int64  // the last number in the name
	Known  bool   // the name holds a number
}

// sampleKind is how the samples of a picture are stored.
type sampleKind uint8

const (
	eightBit   sampleKind = iota + 1 // picture.Bytes
	sixteenBit                       // picture.Words
	floating                         // picture.Floats
)

var sampleKinds = enum.New[sampleKind](errInvalid, []string{eightBit: "8 bits", sixteenBit: "16 bits", floating: "floating point"})

func (k sampleKind) String() string               { return sampleKinds.Name(k) }
func (k sampleKind) MarshalText() ([]byte, error) { return sampleKinds.Marshal(k) }

// shape is what all frames of a take must share.
type shape struct {
	Width, Height int
	Channels      int // 1 or 3; alpha is left out
	Kind          sampleKind
}

// picture is one frame, one plane a channel: red, green, blue, or grey alone. Only the
// planes of its kind are set. The next frame that is read into it reuses the memory.
type picture struct {
	shape
	Bytes  []plane.Plane[uint8]
	Words  []plane.Plane[uint16]
	Floats []plane.Plane[float32]
}

// small is a frame in linear light, made smaller. Each of its pixels is the mean of Factor
// × Factor pixels of the frame; columns and rows that do not fill one are left out. 1 is
// the light of the code from which on samples are clipped. A pixel is at least 1 in all
// channels if any of its samples is clipped.
type small struct {
	Width, Height int
	Factor        int
	Channels      []plane.Plane[float32]
}

// take is what one camera recorded: one folder of frames.
type take struct {
	Name   string // that of the camera, or the folder's
	Folder string
	Files  []frameFile
	Shape  shape
	Bad    []badFrame
	Thumb  small // one frame of the middle of the take, at most 480 columns
}

// badFrame is a file that cannot be measured.
type badFrame struct {
	Index int // in take.Files
	Why   string
}

// question is what the program asks, in the order of the report.
type question uint8

const (
	asksFrames   question = iota + 1 // can all be read, and is none missing?
	asksLevels                       // clipped, crushed
	asksExposure                     // between cameras, and through the take
	asksNoise                        // against the photosite
	asksVeil                         // veiling flare
	asksDefects                      // hot, dead, stuck photosites
	asksSeams                        // displacement between neighbours
	asksRepeats                      // repeated, stuck, torn frames
	asksShake                        // vibration
	asksOffset                       // between cameras, and the drift of their clocks
	asksBands                        // of lamps, or of a wall
	asksPatterns                     // periodic patterns on a wall
	asksEvenness                     // of a wall
	asksFlashes                      // for photosensitive people
)

var questions = enum.New[question](errInvalid, []string{
	asksFrames: "frames", asksLevels: "levels", asksExposure: "exposure", asksNoise: "noise", asksVeil: "veil",
	asksDefects: "defects", asksSeams: "seams", asksRepeats: "repeats", asksShake: "shake", asksOffset: "offset",
	asksBands: "bands", asksPatterns: "patterns", asksEvenness: "evenness", asksFlashes: "flashes",
})

func (q question) String() string               { return questions.Name(q) }
func (q question) MarshalText() ([]byte, error) { return questions.Marshal(q) }
func (q *question) UnmarshalText(t []byte) error {
	return questions.Unmarshal(q, t)
}

// verdict is the answer to a question.
type verdict uint8

const (
	within   verdict = iota + 1 // value + 3 uncertainties is below the limit
	over                        // value − 3 uncertainties is above the limit
	notShown                    // in between, or no measurement: why says so
	notAsked                    // the scenario lacks what the question needs: why says what
	noted                       // a thing to look at, and no fault
)

var verdicts = enum.New[verdict](errInvalid, []string{
	within: "within", over: "over", notShown: "not shown", notAsked: "not asked", noted: "note",
})

func (v verdict) String() string               { return verdicts.Name(v) }
func (v verdict) MarshalText() ([]byte, error) { return verdicts.Marshal(v) }
func (v *verdict) UnmarshalText(t []byte) error {
	return verdicts.Unmarshal(v, t)
}

// finding is one answer. Fields that do not apply are left out of JSON.
type finding struct {
	Question question `json:"question"`
	Verdict  verdict  `json:"verdict"`
	What     string   `json:"what"` // what was measured, as "clipped", "stops", "tint", "repeated"
	Camera   string   `json:"camera,omitempty"`
	Other    string   `json:"other_camera,omitempty"` // the second camera of a pair: value is its own against that of Camera
	Channel  string   `json:"channel,omitempty"`      // red, green, blue or grey
	Frames   *span    `json:"frames,omitempty"`
	Where    *region  `json:"where_px,omitempty"`

	Value       *float64 `json:"value,omitempty"`
	Uncertainty *float64 `json:"uncertainty,omitempty"` // one standard deviation
	Unit        string   `json:"unit,omitempty"`
	Limit       *float64 `json:"limit,omitempty"`                // of the value, or of its absolute value
	Margin      *float64 `json:"margin_uncertainties,omitempty"` // from the value to the limit, over the uncertainty; negative beyond the limit
	Confidence  float64  `json:"confidence"`                     // in the verdict, 0 to 1
	Predicted   *float64 `json:"predicted,omitempty"`            // what the scenario predicts for the value
	Against     string   `json:"against,omitempty"`              // the prediction, in words
	Why         string   `json:"why,omitempty"`

	draw drawing
}

// span is some frames of a take, counted from 0 in the order of their files, and the
// names of the first and the last of them.
type span struct {
	First     int    `json:"first"`
	Last      int    `json:"last"`
	FirstFile string `json:"first_file"`
	LastFile  string `json:"last_file"`
}

// region is a part of a frame in pixels.
type region struct {
	X      int `json:"x"`
	Y      int `json:"y"`
	Width  int `json:"width"`
	Height int `json:"height"`
}

// drawing is what the sheet draws of a finding, in pixels of the frame of Camera.
type drawing struct {
	Areas   []region
	Bands   *bandMarks
	Pattern *patternMark
	Shifts  []shiftMark
}

// bandMarks are bright rows First, First + Spacing and so on.
type bandMarks struct{ First, Spacing float64 }

// patternMark is a periodic pattern: where, its frequency in cycles per pixel along each
// axis, and some of its pixels at their full size (small.Factor 1).
type patternMark struct {
	Region       region
	Across, Down float64
	Inset        small
}

// shiftMark is where the neighbour shows a thing: beside (X, Y) by so much.
type shiftMark struct{ X, Y, Across, Down float64 }

// result is all that a run found. It is what -json writes.
type result struct {
	Name     string    `json:"name"`
	Cameras  []answer  `json:"cameras"`
	Findings []finding `json:"findings"`
	Caution  string    `json:"caution,omitempty"`

	takes []*take
}

// answer says of a camera what was read.
type answer struct {
	Camera string `json:"camera"`
	Folder string `json:"folder"`
	Frames int    `json:"frames"` // that could be measured
	Bad    int    `json:"bad_frames"`
	Width  int    `json:"width_px"`
	Height int    `json:"height_px"`
	Kind   string `json:"samples,omitempty"`
}
