package plane

// Lights turns samples into linear light.
type Lights[T Sample] struct {
	curve func(code float64) float64 // nil: samples are linear
	table []float64                  // of each whole number, or nil
}

// NewLights makes Lights of a curve. For frames of more samples than a table of whole
// numbers has, it makes that table.
func NewLights[T Sample](curve func(code float64) (light float64), samples int) Lights[T] {
	l := Lights[T]{curve: curve}
	if n := int(FullScale[T]()); n > 1 && curve != nil && samples > n {
		l.table = make([]float64, n+1)
		for i := range l.table {
			l.table[i] = curve(float64(i))
		}
	}
	return l
}

// Of is the light of a sample.
func (l Lights[T]) Of(v T) float64 {
	switch {
	case l.table != nil:
		return l.table[int(v)]
	case l.curve != nil:
		return l.curve(float64(v))
	}
	return float64(v)
}
