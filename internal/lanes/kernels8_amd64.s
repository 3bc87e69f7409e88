//go:build !purego

#include "textflag.h"
#include "funcdata.h"

#define NEAREST ·nearest8
#define BILINEAR ·bilinear8
#define WINDOW ·window8
#define LEAN ·lean8
#define SUM ·sum8
#define SIZE 1
#define LOAD8(address, y) \
	VPMOVZXBD address, y \
	VCVTDQ2PS y, y
#define WEIGH(address, w, y) \
	LOAD8(address, y) \
	VMULPS w, y, y

#include "kernels_amd64.h"
