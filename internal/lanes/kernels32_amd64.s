//go:build !purego

#include "textflag.h"
#include "funcdata.h"

#define NEAREST ·nearest32
#define BILINEAR ·bilinear32
#define WINDOW ·window32
#define MEAN ·mean32
#define SIZE 4
#define LOAD8(address, y) \
	VMOVUPS address, y
#define WEIGH(address, w, y) \
	VMULPS address, w, y
#define DROP(weights, y) \
	VXORPS Y1, Y1, Y1 \
	VCMPPS $4, Y1, weights, Y1 \
	VANDPS Y1, y, y

#include "kernels_amd64.h"
