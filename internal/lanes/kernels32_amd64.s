//go:build !purego

#include "textflag.h"
#include "funcdata.h"

#define NEAREST ·nearest32
#define BILINEAR ·bilinear32
#define WINDOW ·window32
#define LEAN ·lean32
#define SUM ·sum32
#define SIZE 4
#define LOAD8(address, y) \
	VMOVUPS address, y
#define WEIGH(address, w, y) \
	VMULPS address, w, y

#include "kernels_amd64.h"
