package recording_test

import (
	"fmt"
	"log"

	"example.com/platewright/sensor"
	"example.com/platewright/sensor/recording"
	"gonum.org/v1/gonum/unit"
)

// The five cameras of the ferry.
var roofCameras = recording.Spec{
	Raster:          sensor.Raster{Columns: 12288, Rows: 6480},
	SamplesPerPixel: 1, // raw
	BitsPerSample:   12,
	Rate:            recording.Rate{Num: 24, Den: 1},
	Compression:     8,
	Cameras:         5,
}

// The ferry crosses in 22 minutes. What do the cameras record at a constant ratio, and
// what would a constant rate be worth?
func ExampleNew() {
	r, err := recording.New(roofCameras)
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("%.0f MB/s a camera, %.2f GB/s together\n", r.Camera().BytesPerSecond()/1e6, r.BytesPerSecond()/1e9)
	need, _ := r.StoreBytes(22 * 60)
	lasts, _ := r.StoreTime(16e12)
	fmt.Printf("a crossing takes %.2f TB; 16 TB last %.0f min\n", need/1e12, float64(lasts/60))
	m, _ := r.Media(22*60, 0.48e12)
	fmt.Printf("%d media of 480 GB, %d for each camera, with %.0f s to spare\n", m.All, m.PerCamera, float64(m.Spare))

	constant := roofCameras
	constant.Compression, constant.CameraBytesPerSecond = 0, 250e6
	for _, fps := range []int64{24, 48} {
		constant.Rate.Num = fps
		r, err := recording.New(constant)
		if err != nil {
			log.Fatal(err)
		}
		fmt.Printf("at 250 MB/s, %d frames a second are compressed %.1f to 1\n", fps, r.Compression())
	}
	// Output:
	// 358 MB/s a camera, 1.79 GB/s together
	// a crossing takes 2.36 TB; 16 TB last 149 min
	// 5 media of 480 GB, 1 for each camera, with 20 s to spare
	// at 250 MB/s, 24 frames a second are compressed 11.5 to 1
	// at 250 MB/s, 48 frames a second are compressed 22.9 to 1
}

// Does a link of 25 Gbit/s carry the five cameras with a third in reserve? Does a
// store that takes 1.8 GB/s?
func ExampleRecording_Sustained() {
	r, err := recording.New(roofCameras)
	if err != nil {
		log.Fatal(err)
	}
	for _, to := range []struct {
		name string
		rate float64
	}{{"link", 25e9 / 8}, {"store", 1.8e9}} {
		s, _ := r.Sustained(to.rate, 1./3)
		fmt.Printf("%s: ok %v, %+.2f GB/s to spare, room for %d cameras\n", to.name, s.OK, s.SpareBytesPerSecond/1e9, s.Cameras)
	}
	// Output:
	// link: ok true, +0.29 GB/s to spare, room for 5 cameras
	// store: ok false, -0.59 GB/s to spare, room for 3 cameras
}

// Two copies of a crossing, verified, over one link of 10 Gbit/s or two.
func ExampleNewOffload() {
	r, err := recording.New(roofCameras)
	if err != nil {
		log.Fatal(err)
	}
	crossing, _ := r.StoreBytes(22 * 60)
	for _, links := range []float64{1, 2} {
		o, err := recording.NewOffload(recording.OffloadSpec{
			Readers: 5, ReadBytesPerSecond: 0.5e9, Copies: 2, WriteBytesPerSecond: 1.1e9, VerifyBytesPerSecond: 1.4e9,
			LinkBytesPerSecond: links * 10e9 / 8,
		})
		if err != nil {
			log.Fatal(err)
		}
		t, _ := o.Time(5, crossing)
		fmt.Printf("%g links: copying %.0f min (%v), verifying %.0f min (%v)\n", links, float64(t.Copy/60), t.CopyLimit, float64(t.Verify/60), t.VerifyLimit)
	}
	// Output:
	// 1 links: copying 63 min (link), verifying 63 min (link)
	// 2 links: copying 36 min (stores), verifying 32 min (link)
}

// A crossing of 22 minutes every 40 minutes. How many fit on media of 960 GB before they
// must be used again, and before none is free?
func ExampleSchedule() {
	r, err := recording.New(roofCameras)
	if err != nil {
		log.Fatal(err)
	}
	var takes []recording.Take
	for i := range 9 {
		takes = append(takes, recording.Take{Start: unit.Time(8*3600 + i*40*60), Length: 22 * 60})
	}
	for _, way := range []struct {
		sets  int
		links float64
	}{{2, 1}, {4, 1}, {4, 2}} {
		o, err := recording.NewOffload(recording.OffloadSpec{
			Readers: 5, ReadBytesPerSecond: 0.5e9, Copies: 2, WriteBytesPerSecond: 1.1e9, VerifyBytesPerSecond: 1.4e9,
			LinkBytesPerSecond: way.links * 10e9 / 8,
		})
		if err != nil {
			log.Fatal(err)
		}
		day, err := recording.Schedule(recording.DaySpec{
			Recording: r, Takes: takes, Sets: way.sets, MediumBytes: 0.96e12, Swap: 5 * 60, Offload: o,
		})
		if err != nil {
			log.Fatal(err)
		}
		fmt.Printf("%d sets, %g links: %d of %d crossings, %d on fresh media", way.sets, way.links, len(day.Recorded), len(takes), day.Fresh)
		if !day.OK {
			fmt.Printf("; then %v, %.0f min short", day.Limit, float64(day.Short/60))
		}
		last := day.Recorded[len(day.Recorded)-1]
		fmt.Printf("; the last on set %d, turn %d, %.0f min left; all safe at %.1f h\n", last.Set+1, last.Turn+1, float64(last.Left/60), float64(day.Done/3600))
	}
	// Output:
	// 2 sets, 1 links: 4 of 9 crossings, 4 on fresh media; then no free medium, 164 min short; the last on set 2, turn 1, 1 min left; all safe at 17.5 h
	// 4 sets, 1 links: 8 of 9 crossings, 8 on fresh media; then no free medium, 4 min short; the last on set 4, turn 1, 1 min left; all safe at 25.9 h
	// 4 sets, 2 links: 9 of 9 crossings, 8 on fresh media; the last on set 1, turn 2, 23 min left; all safe at 19.2 h
}
