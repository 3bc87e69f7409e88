package warp

type SourceSpec struct {
	Width, Height int
	WrapX, WrapY  bool
	Margin        func(x, y float64) float64
}

type marginFunc func(x, y float64) float64

func (f marginFunc) Margin(x, y float64) float64 { return f(x, y) }
