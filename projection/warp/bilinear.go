package warp

// The inner loops of bilinear interpolation, one for each number of channels:
// the windows p and q, of known length, let the compiler leave out the checks
// of bounds.

func bilinear1[T Sample](s *sampler[T], pix []T, xs, ys []float64, vals, cov []float32) {
	st := s.levels[0].stride
	ys, cov, vals = ys[:len(xs)], cov[:len(xs)], vals[:1*len(xs)]
	for i, x := range xs {
		out := vals[1*i : 1*i+1 : 1*i+1]
		o, u, v, ok := s.cell(x, ys[i])
		if !ok {
			cov[i] = s.edge(x, ys[i], out)
			continue
		}
		p := pix[o : o+2 : o+2]
		q := pix[o+st : o+st+2 : o+st+2]
		out[0] = lerp(lerp(float32(p[0]), float32(p[1]), u), lerp(float32(q[0]), float32(q[1]), u), v)
		cov[i] = 1
	}
}

func bilinear2[T Sample](s *sampler[T], pix []T, xs, ys []float64, vals, cov []float32) {
	st := s.levels[0].stride
	ys, cov, vals = ys[:len(xs)], cov[:len(xs)], vals[:2*len(xs)]
	for i, x := range xs {
		out := vals[2*i : 2*i+2 : 2*i+2]
		o, u, v, ok := s.cell(x, ys[i])
		if !ok {
			cov[i] = s.edge(x, ys[i], out)
			continue
		}
		p := pix[o : o+4 : o+4]
		q := pix[o+st : o+st+4 : o+st+4]
		out[0] = lerp(lerp(float32(p[0]), float32(p[2]), u), lerp(float32(q[0]), float32(q[2]), u), v)
		out[1] = lerp(lerp(float32(p[1]), float32(p[3]), u), lerp(float32(q[1]), float32(q[3]), u), v)
		cov[i] = 1
	}
}

func bilinear3[T Sample](s *sampler[T], pix []T, xs, ys []float64, vals, cov []float32) {
	st := s.levels[0].stride
	ys, cov, vals = ys[:len(xs)], cov[:len(xs)], vals[:3*len(xs)]
	for i, x := range xs {
		out := vals[3*i : 3*i+3 : 3*i+3]
		o, u, v, ok := s.cell(x, ys[i])
		if !ok {
			cov[i] = s.edge(x, ys[i], out)
			continue
		}
		p := pix[o : o+6 : o+6]
		q := pix[o+st : o+st+6 : o+st+6]
		out[0] = lerp(lerp(float32(p[0]), float32(p[3]), u), lerp(float32(q[0]), float32(q[3]), u), v)
		out[1] = lerp(lerp(float32(p[1]), float32(p[4]), u), lerp(float32(q[1]), float32(q[4]), u), v)
		out[2] = lerp(lerp(float32(p[2]), float32(p[5]), u), lerp(float32(q[2]), float32(q[5]), u), v)
		cov[i] = 1
	}
}

func bilinear4[T Sample](s *sampler[T], pix []T, xs, ys []float64, vals, cov []float32) {
	st := s.levels[0].stride
	ys, cov, vals = ys[:len(xs)], cov[:len(xs)], vals[:4*len(xs)]
	for i, x := range xs {
		out := vals[4*i : 4*i+4 : 4*i+4]
		o, u, v, ok := s.cell(x, ys[i])
		if !ok {
			cov[i] = s.edge(x, ys[i], out)
			continue
		}
		p := pix[o : o+8 : o+8]
		q := pix[o+st : o+st+8 : o+st+8]
		out[0] = lerp(lerp(float32(p[0]), float32(p[4]), u), lerp(float32(q[0]), float32(q[4]), u), v)
		out[1] = lerp(lerp(float32(p[1]), float32(p[5]), u), lerp(float32(q[1]), float32(q[5]), u), v)
		out[2] = lerp(lerp(float32(p[2]), float32(p[6]), u), lerp(float32(q[2]), float32(q[6]), u), v)
		out[3] = lerp(lerp(float32(p[3]), float32(p[7]), u), lerp(float32(q[3]), float32(q[7]), u), v)
		cov[i] = 1
	}
}
