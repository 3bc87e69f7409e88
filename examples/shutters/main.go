// Shutters finds which shutters are clean on the LED wall of a stage. It prints a table by
// shutter angle, with the depth of the bands in three greys and the reason. It draws the
// predicted bands beside rows that are rendered photon by photon.
//
//	go run ./examples/shutters
//	go run ./examples/shutters -out evening
//
// Caution: a picture without bands does not show how the wall flashes. Flashing light can
// cause seizures in photosensitive people. Warn everybody on the set, follow the local
// rules for flashing light, take competent advice, and be able to stop at once. Measure
// the wall at hand before a shoot relies on a prediction.
package main

import (
	"fmt"
	"io"
	"math"
	"math/rand/v2"

	"example.com/platewright/examples/internal/program"
	timing "example.com/platewright/sync"
	"example.com/platewright/sync/banding"
	"gonum.org/v1/gonum/unit"
)

// The stage of the ferry, invented for demonstration: its wall refreshes at 3840 Hz, 160
// times a frame, and its camera of 3240 rows stands 5.4 m away with 32 mm at f/4. The
// drive and the scan groups are common practice.
const (
	fps        = 24
	refreshes  = 160 // a frame
	bits       = 12
	groups     = 8
	rowTime    = "3.6 µs"
	limit      = 0.01 // of the depth
	wallRows   = 0.70 // per camera row: 5 µm · 5.4 m/32 mm, over 1.2 mm
	focusActor = 9.8  // wall rows of blur, if the focus is on an actor 2.2 m away
)

// The greys that the table looks at, by their codes.
var (
	codes = []int{1433, 400, 37}
	names = []string{"35 %", "10 %", "1 %"}
)

// The rows of the camera, and how many photons each counts in the rendered picture.
var rows, photons = 3240, 200_000

func main() { program.Main("shutters", run) }

func run(w io.Writer, out *program.Folder) error {
	fmt.Fprintf(w, "A wall of %d refreshes a frame in %d scan groups, %d frames a second. Which shutters keep bands below %g %%?\n\n", refreshes, groups, fps, 100*limit)
	fmt.Fprintln(w, "                    depth of the bands, %")
	fmt.Fprintf(w, "         refreshes  focus on the wall     on an actor\n")
	fmt.Fprintf(w, "shutter  exposed    %5s  %5s  %5s  %5s  %5s  verdict\n", names[0], names[1], names[2], names[0], names[1])
	for _, text := range []string{"11.25", "12", "22.5", "45", "72", "90", "100", "144", "172.8", "180", "270", "288", "359", "360"} {
		angle, err := timing.ParseShutterAngle(text)
		if err != nil {
			return err
		}
		sharp, err := predict(angle, wallRows, codes)
		if err != nil {
			return err
		}
		soft, err := predict(angle, focusActor, codes)
		if err != nil {
			return err
		}
		depth := func(p banding.Prediction, grey int) float64 {
			e, _ := p.Extremes(grey)
			return e.Depth
		}
		reason, err := verdict(angle, [...]float64{depth(sharp, 0), depth(sharp, 1), depth(sharp, 2)})
		if err != nil {
			return err
		}
		fmt.Fprintf(w, "%-7s  %9.4g  %5.2f  %5.2f  %5.2f  %5.2f  %5.2f  %s\n", angle, exposed(angle),
			100*depth(sharp, 0), 100*depth(sharp, 1), 100*depth(sharp, 2), 100*depth(soft, 0), 100*depth(soft, 1), reason)
	}
	k, err := banding.PeriodsFor(limit)
	if err != nil {
		return err
	}
	fmt.Fprintf(w, "\nGreys whose pulses are all alike are safe at any shutter of %d refreshes or more, %.4g°.\n", k, float64(k)*360/refreshes)
	if err := tolerance(w); err != nil {
		return err
	}
	fmt.Fprintln(w)
	if err := picture(w, out); err != nil {
		return err
	}
	fmt.Fprintln(w, "\nCaution: a picture without bands does not show how the wall flashes. Warn everybody on the set, and be able to stop at once.")
	return nil
}

// exposed is how many refreshes a shutter sees.
func exposed(angle timing.ShutterAngle) float64 {
	return math.Round(float64(angle.Angle()/timing.Degree)/360*refreshes*1e9) / 1e9 // menus have few decimals
}

// predict is what the camera records of greys. blur is in wall rows.
func predict(angle timing.ShutterAngle, blur float64, codes []int) (banding.Prediction, error) {
	rate, err := timing.NewRate(fps, 1)
	if err != nil {
		return banding.Prediction{}, err
	}
	exposure, err := angle.Exposure(rate)
	if err != nil {
		return banding.Prediction{}, err
	}
	row, err := timing.ParseSeconds(rowTime)
	if err != nil {
		return banding.Prediction{}, err
	}
	turns, err := banding.InOrder(groups)
	if err != nil {
		return banding.Prediction{}, err
	}
	// The pulses of a frame differ, so the light repeats once a frame.
	wall := banding.Wall{Rate: rate, Turns: turns, Refreshes: refreshes}
	for _, code := range codes {
		grey, err := banding.Scattered(code, bits, refreshes)
		if err != nil {
			return banding.Prediction{}, err
		}
		wall.Greys = append(wall.Greys, grey)
	}
	return banding.New(banding.Spec{
		Wall:   wall,
		View:   banding.View{WallRowsPerCameraRow: wallRows, Blur: blur},
		Camera: timing.ReadoutSpec{Rate: rate, Exposure: exposure, Phase: timing.Leading, Rows: rows, RowTime: row},
	})
}

// verdict says whether a shutter is clean, and why not, by the depths of the greys.
func verdict(angle timing.ShutterAngle, depths [3]float64) (string, error) {
	n := exposed(angle)
	whole := n == math.Round(n)
	// An exposure of n refreshes holds a whole number of pulses or of their units, or the
	// next.
	either := func(all int) string {
		some := math.Ceil(float64(all)*n/refreshes) - 1
		return fmt.Sprintf("%.0f or %.0f of %d", some, some+1, all)
	}
	switch brighter := max(depths[0], depths[1]); {
	case max(brighter, depths[2]) <= limit && whole:
		return "clean", nil
	case max(brighter, depths[2]) <= limit:
		return "clean: one refresh of many is cut", nil
	case brighter <= limit:
		return fmt.Sprintf("dark greys only: %s pulses of a frame", either(codes[2])), nil
	case whole:
		return fmt.Sprintf("BANDS: unlike pulses, %s units of a frame", either(codes[1])), nil
	}
	// The nearest that leaves bands in dark greys only.
	brighter, err := predict(angle, wallRows, codes[:2])
	if err != nil {
		return "", err
	}
	const around = 4 * timing.Degree
	found, err := brighter.ShutterAngles(limit, max(angle.Angle()-around, timing.Degree), min(angle.Angle()+around, 360*timing.Degree))
	if err != nil {
		return "", err
	}
	if len(found.Ranges) == 0 {
		return fmt.Sprintf("BANDS: a refresh is cut; within %.0f° all are too deep in brighter greys", float64(around/timing.Degree)), nil
	}
	nearest := unit.Angle(math.Inf(1))
	for _, r := range found.Ranges {
		at := min(max(angle.Angle(), r.From), r.To)
		if math.Abs(float64(at-angle.Angle())) < math.Abs(float64(nearest-angle.Angle())) {
			nearest = at
		}
	}
	return fmt.Sprintf("BANDS: a refresh is cut; %.2f° has them in dark greys only", float64(nearest/timing.Degree)), nil
}

// tolerance says by how much the exposure may be off at a shutter of whole refreshes.
func tolerance(w io.Writer) error {
	angle, err := timing.NewShutterAngle(90, 1)
	if err != nil {
		return err
	}
	p, err := predict(angle, wallRows, codes[:2])
	if err != nil {
		return err
	}
	fraction, _, err := p.Tolerance(limit)
	if err != nil {
		return err
	}
	tenfold, err := p.DepthWithin(10 * fraction)
	if err != nil {
		return err
	}
	fmt.Fprintf(w, "At %s the two brighter greys stay below %g %% if exposure and refresh rate are right to %.2g %%; if to %.2g %%, they have bands of up to %.2g %%.\n",
		angle, 100*limit, 100*fraction, 1000*fraction, 100*tenfold)
	return nil
}

// lit reports whether a wall row shines at a time, in frames. The drive gives refresh i of
// a frame a pulse of so many units that the sum over refreshes keeps up with the code.
func lit(code, wallRow int, t float64) bool {
	const units = (1<<bits - 2 + refreshes) / refreshes // in a slot
	at := (t - math.Floor(t)) * refreshes
	i := int(at)
	slot := (at - math.Floor(at)) * groups
	if int(slot) != wallRow%groups {
		return false
	}
	pulse := (i+1)*code/refreshes - i*code/refreshes
	return (slot-math.Floor(slot))*units < float64(pulse)
}

// render counts photons of the first rows of a frame: each arrives at a random time of the
// exposure, from a random place of what the row sees.
func render(angle timing.ShutterAngle, code, count int, rng *rand.Rand) ([]float64, error) {
	row, err := timing.ParseSeconds(rowTime)
	if err != nil {
		return nil, err
	}
	light := make([]float64, count)
	exposure := float64(angle.Angle() / (360 * timing.Degree))
	for r := range light {
		opens := float64(r) * float64(row.Time()) * fps
		for range photons {
			place := wallRows * (float64(r) + rng.Float64())
			if lit(code, int(place), opens+exposure*rng.Float64()) {
				light[r] += 1 / float64(photons)
			}
		}
	}
	return light, nil
}
