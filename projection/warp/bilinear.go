package warp

// The inner loops of bilinear interpolation, one for each number of channels:
// windows of known length let the compiler leave out the checks of bounds.

func bilinear1[T Sample](pix []T, stride, n int, r *scratch, vals, cov []float32) {
	us, vs, offset := r.u[:n], r.v[:n], r.offset[:n]
	cov, vals = cov[:n], vals[:1*n]
	for i, o := range offset {
		if o < 0 {
			continue
		}
		u, v := us[i], vs[i]
		p := pix[o : o+2 : o+2]
		q := pix[o+stride : o+stride+2 : o+stride+2]
		out := vals[1*i : 1*i+1 : 1*i+1]
		out[0] = lerp(lerp(float32(p[0]), float32(p[1]), u), lerp(float32(q[0]), float32(q[1]), u), v)
		cov[i] = 1
	}
}

func bilinear2[T Sample](pix []T, stride, n int, r *scratch, vals, cov []float32) {
	us, vs, offset := r.u[:n], r.v[:n], r.offset[:n]
	cov, vals = cov[:n], vals[:2*n]
	for i, o := range offset {
		if o < 0 {
			continue
		}
		u, v := us[i], vs[i]
		p := pix[o : o+4 : o+4]
		q := pix[o+stride : o+stride+4 : o+stride+4]
		out := vals[2*i : 2*i+2 : 2*i+2]
		out[0] = lerp(lerp(float32(p[0]), float32(p[2]), u), lerp(float32(q[0]), float32(q[2]), u), v)
		out[1] = lerp(lerp(float32(p[1]), float32(p[3]), u), lerp(float32(q[1]), float32(q[3]), u), v)
		cov[i] = 1
	}
}

func bilinear3[T Sample](pix []T, stride, n int, r *scratch, vals, cov []float32) {
	us, vs, offset := r.u[:n], r.v[:n], r.offset[:n]
	cov, vals = cov[:n], vals[:3*n]
	for i, o := range offset {
		if o < 0 {
			continue
		}
		u, v := us[i], vs[i]
		p := pix[o : o+6 : o+6]
		q := pix[o+stride : o+stride+6 : o+stride+6]
		out := vals[3*i : 3*i+3 : 3*i+3]
		out[0] = lerp(lerp(float32(p[0]), float32(p[3]), u), lerp(float32(q[0]), float32(q[3]), u), v)
		out[1] = lerp(lerp(float32(p[1]), float32(p[4]), u), lerp(float32(q[1]), float32(q[4]), u), v)
		out[2] = lerp(lerp(float32(p[2]), float32(p[5]), u), lerp(float32(q[2]), float32(q[5]), u), v)
		cov[i] = 1
	}
}

func bilinear4[T Sample](pix []T, stride, n int, r *scratch, vals, cov []float32) {
	us, vs, offset := r.u[:n], r.v[:n], r.offset[:n]
	cov, vals = cov[:n], vals[:4*n]
	for i, o := range offset {
		if o < 0 {
			continue
		}
		u, v := us[i], vs[i]
		p := pix[o : o+8 : o+8]
		q := pix[o+stride : o+stride+8 : o+stride+8]
		out := vals[4*i : 4*i+4 : 4*i+4]
		out[0] = lerp(lerp(float32(p[0]), float32(p[4]), u), lerp(float32(q[0]), float32(q[4]), u), v)
		out[1] = lerp(lerp(float32(p[1]), float32(p[5]), u), lerp(float32(q[1]), float32(q[5]), u), v)
		out[2] = lerp(lerp(float32(p[2]), float32(p[6]), u), lerp(float32(q[2]), float32(q[6]), u), v)
		out[3] = lerp(lerp(float32(p[3]), float32(p[7]), u), lerp(float32(q[3]), float32(q[7]), u), v)
		cov[i] = 1
	}
}
