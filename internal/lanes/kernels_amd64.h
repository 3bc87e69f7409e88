// The loops for one type of sample. What includes this file defines
//
//	NEAREST, BILINEAR, WINDOW, LEAN, SUM the names
//	SIZE                                 bytes of a sample
//	LOAD8(address, y)                    eight samples as float32
//	WEIGH(address, w, y)                 the same, times w

// func(out *float32, pix unsafe.Pointer, at *int, n, ch, ahead int)
TEXT NEAREST(SB), NOSPLIT, $0-48
	MOVQ out+0(FP), DI
	MOVQ pix+8(FP), SI
	MOVQ at+16(FP), R8
	MOVQ n+24(FP), CX
	MOVQ ch+32(FP), R12
	MOVQ ahead+40(FP), R13
	SHLQ $2, R12
	ADDQ SI, R13
nearestPixel:
	MOVQ (R8), AX
	TESTQ AX, AX
	JLT nearestNext
	LOAD8((SI)(AX*SIZE), Y0)
	PREFETCHT0 (R13)(AX*SIZE)
	VMOVUPS X0, (DI)
nearestNext:
	ADDQ $8, R8
	ADDQ R12, DI
	DECQ CX
	JNZ nearestPixel
	VZEROUPPER
	RET

// func(out *float32, pix unsafe.Pointer, at *int, u, v *float32, n, stride, ch, ahead int)
TEXT BILINEAR(SB), NOSPLIT, $0-72
	MOVQ out+0(FP), DI
	MOVQ pix+8(FP), SI
	MOVQ at+16(FP), R8
	MOVQ u+24(FP), R9
	MOVQ v+32(FP), R10
	MOVQ n+40(FP), CX
	MOVQ stride+48(FP), R11
	MOVQ ch+56(FP), R12
	VMOVQ R12, X15
	VPBROADCASTD X15, Y15
	VPADDD ·iota(SB), Y15, Y15 // the lane of the next texel
	SHLQ $2, R12
	ADDQ SI, R11 // the row below
	MOVQ ahead+64(FP), R13
	LEAQ (R11)(R13*1), R14
	ADDQ SI, R13
bilinearPixel:
	MOVQ (R8), AX
	TESTQ AX, AX
	JLT bilinearNext
	LOAD8((SI)(AX*SIZE), Y0)
	LOAD8((R11)(AX*SIZE), Y1)
	PREFETCHT0 (R13)(AX*SIZE)
	PREFETCHT0 (R14)(AX*SIZE)
	VBROADCASTSS (R10), Y2
	VSUBPS Y0, Y1, Y1
	VMULPS Y2, Y1, Y1
	VADDPS Y1, Y0, Y0
	VPERMPS Y0, Y15, Y1
	VBROADCASTSS (R9), X2
	VSUBPS X0, X1, X1
	VMULPS X2, X1, X1
	VADDPS X1, X0, X0
	VMOVUPS X0, (DI)
bilinearNext:
	ADDQ $8, R8
	ADDQ $4, R9
	ADDQ $4, R10
	ADDQ R12, DI
	DECQ CX
	JNZ bilinearPixel
	VZEROUPPER
	RET

// PHASES finds, of eight fractions, the places of the rows of weights before
// them, in bytes, and how far they are from those to the next.
#define PHASES(kernel, fractions, places, parts) \
	VBROADCASTSS 16(kernel), Y0        \
	VPBROADCASTD 20(kernel), Y1        \
	VMULPS Y0, fractions, fractions    \
	VCVTTPS2DQ fractions, Y2           \
	VCVTDQ2PS Y2, Y0                   \
	VSUBPS Y0, fractions, fractions    \
	VPMULLD Y1, Y2, Y2                 \
	VMOVDQU Y2, places                 \
	VMOVUPS fractions, parts

// ADD weighs eight samples and adds them to a sum.
#define ADD(address, w, sum) \
	WEIGH(address, w, Y11) \
	VADDPS Y11, sum, sum

// ACROSS weighs the m-th vector of columns and adds it to a sum.
#define ACROSS(lanes, columns, sum) \
	VPERMPS Y8, lanes, Y9      \
	VMULPS Y9, columns, columns \
	VADDPS columns, sum, sum

// LAST does so with the last of a chunk, some lanes of which may be no taps.
#define LAST(lanes, columns, sum) \
	VPERMPS Y8, lanes, Y9      \
	VMULPS Y9, columns, columns \
	VANDPS Y10, columns, columns \
	VADDPS columns, sum, sum

// NEXT goes on to the next pair of rows.
#define NEXT \
	LEAQ (BX)(R11*2), BX \
	ADDQ $8, R12 \
	DECQ CX

// BLOCK loads the fractions u and v of the next eight pixels into Y8 and Y9, and
// notes four times their number.
#define BLOCK \
	MOVQ n+40(FP), CX \
	VMOVQ CX, X10 \
	VPBROADCASTD X10, Y10 \
	VPCMPGTD ·iota(SB), Y10, Y10 \
	MOVQ u+24(FP), AX \
	MOVQ v+32(FP), BX \
	VMASKMOVPS (AX), Y10, Y8 \
	VMASKMOVPS (BX), Y10, Y9 \
	ADDQ $32, u+24(FP) \
	ADDQ $32, v+32(FP) \
	MOVQ $8, AX \
	CMPQ CX, AX \
	CMOVQGT AX, CX \
	SHLQ $2, CX \
	MOVQ CX, end-16(SP) \
	SUBQ $8, n+40(FP)

// DOWN makes their weights down, long before they are read: loads of what has just
// been stored are slow. Their places stand from 64(R9) on.
#define DOWN \
	MOVQ down+80(FP), CX \
	MOVLQSX 20(CX), R14 \
	LEAQ 128(R9), R12 \
	XORQ R10, R10 \
downNext: \
	MOVLQSX 64(R9)(R10*1), DX \
	ADDQ (CX), DX \
	VBROADCASTSS 96(R9)(R10*1), Y9 \
	LEAQ (DX)(R14*1), BX \
	XORQ R15, R15 \
downEight: \
	VMOVUPS (DX)(R15*1), Y0 \
	VMOVUPS (BX)(R15*1), Y1 \
	VSUBPS Y0, Y1, Y1 \
	VMULPS Y9, Y1, Y1 \
	VADDPS Y1, Y0, Y0 \
	VMOVUPS Y0, (R12)(R15*1) \
	ADDQ $32, R15 \
	CMPQ R15, R14 \
	JLT downEight \
	ADDQ $128, R12 \
	ADDQ $4, R10 \
	CMPQ R10, end-16(SP) \
	JLT downNext

// FOLD adds the eight texels of a sum in Y4 to Y7 and stores them.
#define FOLD \
	CMPQ ch+56(FP), $2 \
	JLT foldOne \
	JEQ foldTwo \
	CMPQ ch+56(FP), $4 \
	JEQ foldFour \
 \
	VEXTRACTF128 $1, Y4, X0 \
	VEXTRACTF128 $1, Y5, X1 \
	VEXTRACTF128 $1, Y6, X2 \
	VADDPS X1, X4, X4 \
	VADDPS X6, X0, X0 \
	VADDPS X2, X5, X5 \
	VPALIGNR $12, X4, X0, X1 \
	VPALIGNR $8, X0, X5, X2 \
	VPSRLDQ $4, X5, X5 \
	VADDPS X1, X4, X4 \
	VADDPS X2, X4, X4 \
	VADDPS X5, X4, X4 \
	JMP store \
foldFour: \
	VADDPS Y5, Y4, Y4 \
	VADDPS Y6, Y4, Y4 \
	VADDPS Y7, Y4, Y4 \
	VEXTRACTF128 $1, Y4, X0 \
	VADDPS X0, X4, X4 \
	JMP store \
foldTwo: \
	VADDPS Y5, Y4, Y4 \
foldOne: \
	VEXTRACTF128 $1, Y4, X0 \
	VADDPS X0, X4, X4 \
	VPERMILPS $0x0e, X4, X0 \
	VADDPS X0, X4, X4 \
	CMPQ ch+56(FP), $2 \
	JEQ store \
	VPERMILPS $0x01, X4, X0 \
	VADDPS X0, X4, X4 \
store: \
	VMOVUPS X4, (DI)

// func(out *float32, pix unsafe.Pointer, at *int, u, v *float32, n, stride, ch, ahead int, along, down *Kernel, p *plan)
//
// The frame holds, of eight pixels, the places in the tables of weights, and the
// weights down.
TEXT WINDOW(SB), 0, $1184-96
	NO_LOCAL_POINTERS
	MOVQ out+0(FP), DI
	MOVQ pix+8(FP), SI
	MOVQ at+16(FP), R8
	MOVQ stride+48(FP), R11
	MOVQ p+88(FP), R13
	MOVQ ch+56(FP), AX
	IMULQ $(8*SIZE), AX
	MOVQ AX, chunk-8(SP) // bytes
	LEAQ frame-1184(SP), R9
	VMOVDQU 0(R13), Y12
	VMOVDQU 32(R13), Y13
	VMOVDQU 64(R13), Y14
	VMOVDQU 96(R13), Y15
windowBlock:
	BLOCK
	MOVQ along+72(FP), AX
	MOVQ down+80(FP), BX
	PHASES(AX, Y8, (R9), 32(R9))
	PHASES(BX, Y9, 64(R9), 96(R9))
	DOWN
	XORQ R10, R10
windowPixel:
	MOVQ (R8), AX
	TESTQ AX, AX
	JLT windowNext
	LEAQ (SI)(AX*SIZE), AX
	MOVQ along+72(FP), BX
	MOVLQSX (R9)(R10*1), DX
	ADDQ (BX), DX
	MOVLQSX 20(BX), R15
	VXORPS Y4, Y4, Y4
	VXORPS Y5, Y5, Y5
	VXORPS Y6, Y6, Y6
	VXORPS Y7, Y7, Y7
	MOVQ 192(R13), R14 // chunks
windowChunk:
	VMOVUPS (DX), Y8
	VMOVUPS (DX)(R15*1), Y9
	VSUBPS Y8, Y9, Y9
	VBROADCASTSS 32(R9)(R10*1), Y10
	VMULPS Y10, Y9, Y9
	VADDPS Y9, Y8, Y8 // weights along the row
	ADDQ $32, DX
	VXORPS Y0, Y0, Y0
	VXORPS Y1, Y1, Y1
	VXORPS Y2, Y2, Y2
	VXORPS Y3, Y3, Y3
	MOVQ AX, BX
	ADDQ chunk-8(SP), AX
	MOVQ R10, R12
	SHLQ $5, R12
	LEAQ 128(R9)(R12*1), R12
	MOVQ down+80(FP), CX
	MOVQ 8(CX), CX // pairs of rows
	VMOVUPS 160(R13), Y10
	DECQ R14
	JNE windowWhole
	VMOVUPS 128(R13), Y10
	CMPQ 200(R13), $2
	JLT windowOne
	JEQ windowTwo
	CMPQ 200(R13), $4
	JEQ windowFour
	JMP windowThree
windowWhole:
	CMPQ ch+56(FP), $2
	JLT windowOne
	JEQ windowTwo
	CMPQ ch+56(FP), $4
	JEQ windowFour

windowThree:
	VBROADCASTSS (R12), Y9
	ADD((BX), Y9, Y0)
	ADD((8*SIZE)(BX), Y9, Y1)
	ADD((16*SIZE)(BX), Y9, Y2)
	VBROADCASTSS 4(R12), Y9
	ADD((BX)(R11*1), Y9, Y0)
	ADD((8*SIZE)(BX)(R11*1), Y9, Y1)
	ADD((16*SIZE)(BX)(R11*1), Y9, Y2)
	NEXT
	JNZ windowThree
	ACROSS(Y12, Y0, Y4)
	ACROSS(Y13, Y1, Y5)
	LAST(Y14, Y2, Y6)
	JMP windowChunked

windowFour:
	VBROADCASTSS (R12), Y9
	ADD((BX), Y9, Y0)
	ADD((8*SIZE)(BX), Y9, Y1)
	ADD((16*SIZE)(BX), Y9, Y2)
	ADD((24*SIZE)(BX), Y9, Y3)
	VBROADCASTSS 4(R12), Y9
	ADD((BX)(R11*1), Y9, Y0)
	ADD((8*SIZE)(BX)(R11*1), Y9, Y1)
	ADD((16*SIZE)(BX)(R11*1), Y9, Y2)
	ADD((24*SIZE)(BX)(R11*1), Y9, Y3)
	NEXT
	JNZ windowFour
	ACROSS(Y12, Y0, Y4)
	ACROSS(Y13, Y1, Y5)
	ACROSS(Y14, Y2, Y6)
	LAST(Y15, Y3, Y7)
	JMP windowChunked

windowTwo:
	VBROADCASTSS (R12), Y9
	ADD((BX), Y9, Y0)
	ADD((8*SIZE)(BX), Y9, Y1)
	VBROADCASTSS 4(R12), Y9
	ADD((BX)(R11*1), Y9, Y0)
	ADD((8*SIZE)(BX)(R11*1), Y9, Y1)
	NEXT
	JNZ windowTwo
	ACROSS(Y12, Y0, Y4)
	LAST(Y13, Y1, Y5)
	JMP windowChunked

windowOne:
	VBROADCASTSS (R12), Y9
	ADD((BX), Y9, Y0)
	VBROADCASTSS 4(R12), Y9
	ADD((BX)(R11*1), Y9, Y0)
	NEXT
	JNZ windowOne
	LAST(Y12, Y0, Y4)

windowChunked:
	TESTQ R14, R14
	JNZ windowChunk
	MOVQ ahead+64(FP), R15
	SUBQ R11, BX
	ADDQ BX, R15
	PREFETCHT0 (R15)
	SUBQ R11, R15
	PREFETCHT0 (R15)
	FOLD
windowNext:
	ADDQ $8, R8
	MOVQ ch+56(FP), AX
	LEAQ (DI)(AX*4), DI
	ADDQ $4, R10
	CMPQ R10, end-16(SP)
	JLT windowPixel
	CMPQ n+40(FP), $0
	JGT windowBlock
	VZEROUPPER
	RET

// LEANROW finds the weights of eight taps of a row, and where in it they are.
#define LEANROW \
	MOVLQSX (R12)(CX*8), BX \
	MOVLQSX 1024(R12)(CX*8), R14 \
	VBROADCASTSS 2048(R12)(CX*8), Y10 \
	VBROADCASTSS (SI)(CX*1), Y11 \
	VMOVUPS (R15)(R14*1), Y9 \
	VSUBPS (DX)(R14*1), Y9, Y9 \
	VMULPS Y10, Y9, Y9 \
	VADDPS (DX)(R14*1), Y9, Y8 \
	VMULPS Y11, Y8, Y8

// TAPS weighs a vector of them and adds it to a sum.
#define TAPS(vector, lanes, sum) \
	VPERMPS Y8, lanes, Y9 \
	WEIGH((vector*8*SIZE)(AX)(BX*1), Y9, Y11) \
	VADDPS Y11, sum, sum

// LEANNEXT goes on to the next row.
#define LEANNEXT \
	ADDQ R11, AX \
	ADDQ $4, CX \
	CMPQ CX, rows-40(SP)

// func(out *float32, pix unsafe.Pointer, at *int, u, v *float32, n, stride, ch, ahead int, along, down *Kernel, p *plan, shift, room float32)
//
// The frame is that of WINDOW, and then holds, for each row of taps and eight pixels,
// where the row begins, its place in the table of weights, and how far it is from that.
TEXT LEAN(SB), 0, $4264-104
	NO_LOCAL_POINTERS
	MOVQ out+0(FP), DI
	MOVQ at+16(FP), R8
	MOVQ stride+48(FP), R11
	MOVQ p+88(FP), R13
	MOVQ ch+56(FP), AX
	IMULQ $(8*SIZE), AX
	MOVQ AX, chunk-8(SP) // bytes
	LEAQ frame-4264(SP), R9
	VMOVDQU 0(R13), Y12
	VMOVDQU 32(R13), Y13
	VMOVDQU 64(R13), Y14
	VMOVDQU 96(R13), Y15
leanBlock:
	BLOCK
	MOVQ along+72(FP), AX
	MOVQ down+80(FP), BX
	// Row j lies at u + room + shift·(j + 1 − rows/2 − v).
	VBROADCASTSS room+100(FP), Y7
	VADDPS Y7, Y8, Y8
	VMOVAPS Y9, Y7
	PHASES(BX, Y9, 64(R9), 96(R9))
	MOVQ 8(BX), CX
	MOVQ $1, DX
	SUBQ CX, DX
	VMOVQ DX, X4
	VPBROADCASTD X4, Y4
	SHLQ $3, CX
	MOVQ CX, rows-40(SP) // four times their number
	SHRQ $2, CX
	MOVQ ch+56(FP), DX
	IMULQ $SIZE, DX
	VMOVQ DX, X6
	VPBROADCASTD X6, Y6 // bytes of a texel
	VBROADCASTSS shift+96(FP), Y5
	VPCMPEQD Y3, Y3, Y3 // −1
	LEAQ 1152(R9), R12
leanRow:
	VCVTDQ2PS Y4, Y9
	VSUBPS Y7, Y9, Y9
	VMULPS Y5, Y9, Y9
	VADDPS Y9, Y8, Y9
	VCVTTPS2DQ Y9, Y2
	VCVTDQ2PS Y2, Y1
	VSUBPS Y1, Y9, Y9
	VPMULLD Y6, Y2, Y2
	VMOVDQU Y2, (R12)
	PHASES(AX, Y9, 1024(R12), 2048(R12))
	VPSUBD Y3, Y4, Y4
	ADDQ $32, R12
	DECQ CX
	JNZ leanRow
	DOWN
	XORQ R10, R10
leanPixel:
	MOVQ (R8), AX
	TESTQ AX, AX
	JLT leanNext
	IMULQ $SIZE, AX
	ADDQ pix+8(FP), AX
	MOVQ along+72(FP), BX
	MOVLQSX 20(BX), R15
	MOVQ (BX), DX
	ADDQ DX, R15 // the row of weights behind
	MOVQ 192(R13), R14
	VXORPS Y4, Y4, Y4
	VXORPS Y5, Y5, Y5
	VXORPS Y6, Y6, Y6
	VXORPS Y7, Y7, Y7
leanChunk:
	MOVQ AX, taps-24(SP)
	MOVQ R14, chunks-32(SP)
	LEAQ 1152(R9)(R10*1), R12
	MOVQ R10, SI
	SHLQ $5, SI
	LEAQ 128(R9)(SI*1), SI // weights down
	XORQ CX, CX // four times the row
	VXORPS Y0, Y0, Y0
	VXORPS Y1, Y1, Y1
	VXORPS Y2, Y2, Y2
	VXORPS Y3, Y3, Y3
	MOVQ ch+56(FP), BX
	CMPQ R14, $1
	CMOVQEQ 200(R13), BX // vectors
	CMPQ BX, $2
	JLT leanOne
	JEQ leanTwo
	CMPQ BX, $4
	JEQ leanFour
leanThree:
	LEANROW
	TAPS(0, Y12, Y0)
	TAPS(1, Y13, Y1)
	TAPS(2, Y14, Y2)
	LEANNEXT
	JLT leanThree
	JMP leanChunked
leanFour:
	LEANROW
	TAPS(0, Y12, Y0)
	TAPS(1, Y13, Y1)
	TAPS(2, Y14, Y2)
	TAPS(3, Y15, Y3)
	LEANNEXT
	JLT leanFour
	JMP leanChunked
leanTwo:
	LEANROW
	TAPS(0, Y12, Y0)
	TAPS(1, Y13, Y1)
	LEANNEXT
	JLT leanTwo
	JMP leanChunked
leanOne:
	LEANROW
	TAPS(0, Y12, Y0)
	LEANNEXT
	JLT leanOne
leanChunked:
	MOVQ chunks-32(SP), R14
	DECQ R14
	JZ leanLast
	VADDPS Y0, Y4, Y4
	VADDPS Y1, Y5, Y5
	VADDPS Y2, Y6, Y6
	VADDPS Y3, Y7, Y7
	ADDQ $32, DX
	ADDQ $32, R15
	MOVQ taps-24(SP), AX
	ADDQ chunk-8(SP), AX
	JMP leanChunk
leanLast:
	// Some lanes of the last vector may be no taps.
	VMOVUPS 128(R13), Y10
	CMPQ 200(R13), $2
	JLT leanLastOne
	JEQ leanLastTwo
	CMPQ 200(R13), $4
	JEQ leanLastFour
	VANDPS Y10, Y2, Y2
	JMP leanSum
leanLastFour:
	VANDPS Y10, Y3, Y3
	JMP leanSum
leanLastTwo:
	VANDPS Y10, Y1, Y1
	JMP leanSum
leanLastOne:
	VANDPS Y10, Y0, Y0
leanSum:
	VADDPS Y0, Y4, Y4
	VADDPS Y1, Y5, Y5
	VADDPS Y2, Y6, Y6
	VADDPS Y3, Y7, Y7
	SUBQ R11, AX
	ADDQ AX, BX // the last row of taps
	MOVQ ahead+64(FP), R15
	ADDQ BX, R15
	PREFETCHT0 (R15)
	SUBQ R11, R15
	PREFETCHT0 (R15)
	FOLD
leanNext:
	ADDQ $8, R8
	MOVQ ch+56(FP), AX
	LEAQ (DI)(AX*4), DI
	ADDQ $4, R10
	CMPQ R10, end-16(SP)
	JLT leanPixel
	CMPQ n+40(FP), $0
	JGT leanBlock
	VZEROUPPER
	RET

// func(out *float32, pix unsafe.Pointer, at *int, w *float32, n, runs, ahead int)
TEXT SUM(SB), NOSPLIT, $0-56
	MOVQ out+0(FP), DI
	MOVQ pix+8(FP), SI
	MOVQ at+16(FP), R8
	MOVQ w+24(FP), R9
	MOVQ n+32(FP), CX
	MOVQ runs+40(FP), R10
	MOVQ ahead+48(FP), R13
sumBlock:
	VXORPS Y0, Y0, Y0
	VXORPS Y1, Y1, Y1
	VXORPS Y2, Y2, Y2
	VXORPS Y3, Y3, Y3
	XORQ BX, BX
sumRun:
	MOVQ (R8)(BX*8), AX
	LEAQ (SI)(AX*SIZE), AX
	PREFETCHT0 (AX)(R13*1)
	VBROADCASTSS (R9)(BX*4), Y9
	ADD((AX), Y9, Y0)
	ADD((8*SIZE)(AX), Y9, Y1)
	ADD((16*SIZE)(AX), Y9, Y2)
	ADD((24*SIZE)(AX), Y9, Y3)
	INCQ BX
	CMPQ BX, R10
	JLT sumRun
	VMOVUPS Y0, (DI)
	VMOVUPS Y1, 32(DI)
	VMOVUPS Y2, 64(DI)
	VMOVUPS Y3, 96(DI)
	ADDQ $(32*SIZE), SI
	ADDQ $128, DI
	SUBQ $32, CX
	JGT sumBlock
	VZEROUPPER
	RET
