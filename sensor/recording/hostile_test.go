package recording_test

import (
	"encoding/json"
	"math"
	"testing"

	"example.com/platewright/internal/hostile"
	"example.com/platewright/sensor"
	"example.com/platewright/sensor/recording"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestHostileArguments(t *testing.T) {
	r, _ := recording.New(roofCameras)
	slow := recording.Spec{
		Raster: sensor.Raster{Columns: 1, Rows: 1}, SamplesPerPixel: 0.25, BitsPerSample: 1,
		Rate: recording.Rate{Num: 1, Den: math.MaxInt64}, Compression: 1000,
	}
	s, _ := recording.New(slow)
	station := recording.OffloadSpec{ReadBytesPerSecond: 1, Copies: 100, WriteBytesPerSecond: 1, VerifyBytesPerSecond: 1, LinkBytesPerSecond: 1}
	o, _ := recording.NewOffload(station)
	day := recording.DaySpec{Recording: r, Takes: []recording.Take{{-1e9, 1e9}, {0, 1e9}}, Sets: 1, MediumBytes: 1e30, Offload: o, Swap: 1e6}
	long := recording.DaySpec{Recording: s, Takes: day.Takes, Sets: 2, MediumBytes: 1e30, Offload: o}
	hostile.Calls(t, []any{roofCameras, slow, r, s, station, o, day, long, recording.Stores},
		recording.New, recording.Recording.BytesPerSecond, recording.Recording.Camera, recording.Recording.Compression,
		recording.Recording.StoreBytes, recording.Recording.StoreTime, recording.Recording.Media, recording.Recording.Sustained,
		recording.NewOffload, recording.Offload.Time, recording.Schedule, recording.Limit.String, recording.Limit.MarshalText,
	)
}

func TestWrongSpecsAreErrors(t *testing.T) {
	_, err := recording.New(recording.Spec{Cameras: -1, Compression: 0.5, Rate: recording.Rate{Num: 24}})
	assert.EqualError(t, err, `recording: columns 0 px: must be at least 1 and at most 16777216 px
recording: rows 0 px: must be at least 1 and at most 16777216 px
recording: samples per pixel 0: must be at least 0.25 and at most 16
recording: bits per sample 0 bit: must be at least 1 and at most 64 bit
recording: frame rate 24/0 fps: must be at most 1000000 fps, and its two numbers at least 1
recording: compression 0.5: must be at least 1 and at most 1000
recording: cameras -1: must be at least 1 and at most 1000`)
	assert.ErrorIs(t, err, recording.ErrInvalid)
	for _, rate := range []recording.Rate{{0, 1}, {-24, 1}, {24, 0}, {24, -1}, {1000001, 1}} {
		spec := roofCameras
		spec.Rate = rate
		_, err := recording.New(spec)
		assert.ErrorIs(t, err, recording.ErrInvalid, rate)
	}
}

func TestEndsOfRanges(t *testing.T) {
	spec := roofCameras
	spec.Rate = recording.Rate{Num: 1e6, Den: 1}
	_, err := recording.New(spec)
	assert.NoError(t, err)
	// A medium that lasts longer than StoreTime answers still takes all.
	spec.Rate = recording.Rate{Num: 1, Den: math.MaxInt64}
	day, err := recording.Schedule(recording.DaySpec{
		Recording: made(t, spec), Takes: []recording.Take{{-1e9, 1e9}, {0, 1e9}}, Sets: 1, MediumBytes: 1e30,
		Offload: offload(t, recording.OffloadSpec{ReadBytesPerSecond: 1, Copies: 1, WriteBytesPerSecond: 1}),
	})
	assert.NoError(t, err)
	assert.True(t, day.OK)
}

func TestEqualSpecsGiveEqualValues(t *testing.T) {
	spec := roofCameras
	spec.Compression, spec.Cameras = 0, 0
	same := spec
	same.Compression, same.Cameras = 1, 1
	assert.True(t, made(t, spec) == made(t, same))
	station := recording.OffloadSpec{ReadBytesPerSecond: 1, Copies: 1, WriteBytesPerSecond: 1}
	one := station
	one.Readers = 1
	assert.True(t, offload(t, station) == offload(t, one))
}

func TestZeroValuesAnswerNothing(t *testing.T) {
	var r recording.Recording
	var o recording.Offload
	assert.Zero(t, [...]float64{r.BytesPerSecond(), r.Compression()})
	assert.Equal(t, r, r.Camera())
	for question, ask := range map[string]func() (any, bool){
		"store bytes": func() (any, bool) { return r.StoreBytes(10) },
		"store time":  func() (any, bool) { return r.StoreTime(1e12) },
		"media":       func() (any, bool) { return r.Media(10, 1e12) },
		"sustained":   func() (any, bool) { return r.Sustained(1e9, 0) },
		"off-load":    func() (any, bool) { return o.Time(1, 10) },
	} {
		v, ok := ask()
		assert.Zero(t, v, question)
		assert.False(t, ok, question)
	}
}

func TestNames(t *testing.T) {
	all := []recording.Limit{
		recording.NoLimit, recording.Readers, recording.Stores, recording.Link,
		recording.TakeTooLong, recording.NoFreeMedium, recording.NoTimeToSwap,
	}
	text, err := json.Marshal(all)
	require.NoError(t, err)
	assert.Equal(t, `["no limit","readers","stores","link","take too long","no free medium","no time to swap"]`, string(text))
	var back []recording.Limit
	require.NoError(t, json.Unmarshal(text, &back))
	assert.Equal(t, all, back)
	assert.Equal(t, "Limit(7)", (recording.NoTimeToSwap + 1).String())
}
