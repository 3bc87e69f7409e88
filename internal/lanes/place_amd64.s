//go:build !purego

#include "textflag.h"

DATA ·snap+0(SB)/8, $6442450944.0 // 3·2³¹
GLOBL ·snap(SB), RODATA|NOPTR, $8
DATA ·counts+0(SB)/8, $0.0
DATA ·counts+8(SB)/8, $1.0
DATA ·counts+16(SB)/8, $2.0
DATA ·counts+24(SB)/8, $3.0
GLOBL ·counts(SB), RODATA|NOPTR, $32
DATA ·four+0(SB)/8, $4.0
GLOBL ·four(SB), RODATA|NOPTR, $8

// func place4(at *int, us, vs *float32, xs, ys *float64, n int, grid *Grid) (outside int)
TEXT ·place4(SB), NOSPLIT, $0-64
	MOVQ at+0(FP), DI
	MOVQ us+8(FP), R8
	MOVQ vs+16(FP), R9
	MOVQ xs+24(FP), R10
	MOVQ ys+32(FP), R11
	MOVQ n+40(FP), CX
	MOVQ grid+48(FP), DX
	MOVQ 48(DX), SI // the samples
	MOVQ 56(DX), R12 // the way to the last row of taps
	MOVQ 64(DX), R13 // bytes a sample
	ADDQ SI, R12
	VBROADCASTSD 0(DX), Y15 // before
	VBROADCASTSD 8(DX), Y14 // columns
	VBROADCASTSD 16(DX), Y13 // rows
	VPBROADCASTQ 24(DX), Y12 // stride
	VPBROADCASTQ 32(DX), Y11 // channels
	VPBROADCASTQ 40(DX), Y10 // last
	VBROADCASTSD ·snap(SB), Y9
	VXORPD Y8, Y8, Y8
	VXORPD Y7, Y7, Y7 // the sign of any that is not inside
place:
	VMOVUPD (R10), Y0
	VMOVUPD (R11), Y1
	VSUBPD Y15, Y0, Y0
	VSUBPD Y15, Y1, Y1
	// Inside, in the order that lets NaN fail.
	VCMPPD $13, Y8, Y0, Y2
	VCMPPD $1, Y14, Y0, Y3
	VANDPD Y3, Y2, Y2
	VCMPPD $13, Y8, Y1, Y3
	VANDPD Y3, Y2, Y2
	VCMPPD $1, Y13, Y1, Y3
	VANDPD Y3, Y2, Y2
	// Snap.
	VADDPD Y9, Y0, Y0
	VADDPD Y9, Y1, Y1
	VSUBPD Y9, Y0, Y0
	VSUBPD Y9, Y1, Y1
	VROUNDPD $9, Y0, Y3
	VROUNDPD $9, Y1, Y4
	VSUBPD Y3, Y0, Y0
	VSUBPD Y4, Y1, Y1
	VCMPPD $4, Y8, Y0, Y5
	VANDPD Y5, Y2, Y2
	VCMPPD $4, Y8, Y1, Y5
	VANDPD Y5, Y2, Y2
	VCVTPD2PSY Y0, X0
	VCVTPD2PSY Y1, X1
	VMOVUPS X0, (R8)
	VMOVUPS X1, (R9)
	VCVTTPD2DQY Y3, X3
	VCVTTPD2DQY Y4, X4
	VPMOVZXDQ X3, Y3
	VPMOVZXDQ X4, Y4
	VPMULUDQ Y11, Y3, Y3
	VPMULUDQ Y12, Y4, Y4
	VPADDQ Y4, Y3, Y3
	VPCMPGTQ Y10, Y3, Y4
	VANDNPD Y2, Y4, Y2 // and not beyond the last
	VPCMPEQQ Y4, Y4, Y4
	VPXOR Y4, Y2, Y2
	VPOR Y2, Y3, Y3
	VPOR Y3, Y7, Y7
	VMOVDQU Y3, (DI)
	// Fetch what is read next, of every second position.
	MOVQ (DI), AX
	MOVQ 16(DI), BX
	IMULQ R13, AX
	IMULQ R13, BX
	PREFETCHT0 (SI)(AX*1)
	PREFETCHT0 (R12)(AX*1)
	PREFETCHT0 (SI)(BX*1)
	PREFETCHT0 (R12)(BX*1)
	ADDQ $32, DI
	ADDQ $16, R8
	ADDQ $16, R9
	ADDQ $32, R10
	ADDQ $32, R11
	SUBQ $4, CX
	JGT place
	VMOVMSKPD Y7, AX
	MOVQ AX, outside+56(FP)
	VZEROUPPER
	RET

// func positions4(xs, ys *float64, n int, x, y *Quadratic, from, step, w, h float64) (outside int)
TEXT ·positions4(SB), NOSPLIT, $0-80
	MOVQ xs+0(FP), DI
	MOVQ ys+8(FP), SI
	MOVQ n+16(FP), CX
	MOVQ x+24(FP), R8
	MOVQ y+32(FP), R9
	VBROADCASTSD 0(R8), Y15
	VBROADCASTSD 8(R8), Y14
	VBROADCASTSD 16(R8), Y13
	VBROADCASTSD 0(R9), Y12
	VBROADCASTSD 8(R9), Y11
	VBROADCASTSD 16(R9), Y10
	VBROADCASTSD from+40(FP), Y9
	VBROADCASTSD step+48(FP), Y8
	VBROADCASTSD w+56(FP), Y7
	VBROADCASTSD h+64(FP), Y6
	VMOVUPD ·counts(SB), Y5
	VXORPD Y4, Y4, Y4 // where any is outside
position:
	VADDPD Y5, Y9, Y0
	VMULPD Y8, Y0, Y0
	VMULPD Y13, Y0, Y1
	VMULPD Y10, Y0, Y2
	VADDPD Y1, Y14, Y1
	VADDPD Y2, Y11, Y2
	VMULPD Y0, Y1, Y1
	VMULPD Y0, Y2, Y2
	VADDPD Y1, Y15, Y1
	VADDPD Y2, Y12, Y2
	VMOVUPD Y1, (DI)
	VMOVUPD Y2, (SI)
	VXORPD Y0, Y0, Y0
	// Not greater or equal, not less ...: NaN is outside.
	VCMPPD $9, Y0, Y1, Y3
	VORPD Y3, Y4, Y4
	VCMPPD $5, Y7, Y1, Y3
	VORPD Y3, Y4, Y4
	VCMPPD $9, Y0, Y2, Y3
	VORPD Y3, Y4, Y4
	VCMPPD $6, Y6, Y2, Y3
	VORPD Y3, Y4, Y4
	VBROADCASTSD ·four(SB), Y0
	VADDPD Y0, Y5, Y5
	ADDQ $32, DI
	ADDQ $32, SI
	SUBQ $4, CX
	JGT position
	VMOVMSKPD Y4, AX
	MOVQ AX, outside+72(FP)
	VZEROUPPER
	RET
