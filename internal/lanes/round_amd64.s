//go:build !purego

#include "textflag.h"

DATA ·iota+0(SB)/4, $0
DATA ·iota+4(SB)/4, $1
DATA ·iota+8(SB)/4, $2
DATA ·iota+12(SB)/4, $3
DATA ·iota+16(SB)/4, $4
DATA ·iota+20(SB)/4, $5
DATA ·iota+24(SB)/4, $6
DATA ·iota+28(SB)/4, $7
GLOBL ·iota(SB), RODATA|NOPTR, $32
DATA ·half+0(SB)/4, $0.5
GLOBL ·half(SB), RODATA|NOPTR, $4
DATA ·limits+0(SB)/4, $255.0
DATA ·limits+4(SB)/4, $65535.0
GLOBL ·limits(SB), RODATA|NOPTR, $8
DATA ·eighths+0(SB)/4, $0.125
DATA ·eighths+4(SB)/4, $0.375
GLOBL ·eighths(SB), RODATA|NOPTR, $8

// ROUND8 reads eight values and leaves whole numbers in X0, 16 bits each. NaN
// becomes 0: the second operand of a maximum wins over it.
#define ROUND8 \
	VMOVUPS (SI), Y0          \
	VMAXPS Y3, Y0, Y0         \
	VMINPS Y2, Y0, Y0         \
	VADDPS Y1, Y0, Y0         \
	VCVTTPS2DQ Y0, Y0         \
	VEXTRACTI128 $1, Y0, X4   \
	VPACKUSDW X4, X0, X0      \
	ADDQ $32, SI

// func round8(out *uint8, values *float32, n int)
TEXT ·round8(SB), NOSPLIT, $0-24
	MOVQ out+0(FP), DI
	MOVQ values+8(FP), SI
	MOVQ n+16(FP), CX
	VBROADCASTSS ·half(SB), Y1
	VBROADCASTSS ·limits+0(SB), Y2
	VXORPS Y3, Y3, Y3
loop8:
	ROUND8
	VPACKUSWB X0, X0, X0
	VMOVQ X0, (DI)
	ADDQ $8, DI
	SUBQ $8, CX
	JGT loop8
	VZEROUPPER
	RET

// func round16(out *uint16, values *float32, n int)
TEXT ·round16(SB), NOSPLIT, $0-24
	MOVQ out+0(FP), DI
	MOVQ values+8(FP), SI
	MOVQ n+16(FP), CX
	VBROADCASTSS ·half(SB), Y1
	VBROADCASTSS ·limits+4(SB), Y2
	VXORPS Y3, Y3, Y3
loop16:
	ROUND8
	VMOVDQU X0, (DI)
	ADDQ $16, DI
	SUBQ $8, CX
	JGT loop16
	VZEROUPPER
	RET

// func halve4(out, line *float32, n, ch int)
TEXT ·halve4(SB), NOSPLIT, $0-32
	MOVQ out+0(FP), DI
	MOVQ line+8(FP), SI
	MOVQ n+16(FP), CX
	MOVQ ch+24(FP), R12
	SHLQ $2, R12
	LEAQ (R12)(R12*2), R13
	VBROADCASTSS ·eighths+0(SB), X2
	VBROADCASTSS ·eighths+4(SB), X3
halveTexel:
	VMOVUPS (SI), X0
	VMOVUPS (SI)(R12*1), X1
	VADDPS (SI)(R13*1), X0, X0
	VADDPS (SI)(R12*2), X1, X1
	VMULPS X2, X0, X0
	VMULPS X3, X1, X1
	VADDPS X1, X0, X0
	VMOVUPS X0, (DI)
	LEAQ (SI)(R12*2), SI
	ADDQ R12, DI
	DECQ CX
	JNZ halveTexel
	VZEROUPPER
	RET
