//go:build !purego

#include "textflag.h"
#include "funcdata.h"

#define NEAREST ·nearest16
#define BILINEAR ·bilinear16
#define WINDOW ·window16
#define LEAN ·lean16
#define SUM ·sum16
#define SIZE 2
#define LOAD8(address, y) \
	VPMOVZXWD address, y \
	VCVTDQ2PS y, y
#define WEIGH(address, w, y) \
	LOAD8(address, y) \
	VMULPS w, y, y

#include "kernels_amd64.h"
