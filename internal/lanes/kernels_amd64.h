// The loops for one type of sample. What includes this file defines
//
//	NEAREST, BILINEAR,
//	WINDOW, MEAN              the names
//	SIZE                      bytes of a sample
//	LOAD8(address, y)         eight samples as float32
//	WEIGH(address, w, y)      the same, times w
//	DROP(weights, y)          float32 only: where a weight is 0, the sample is

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

// POWER is a step of Horner's rule for one tap of eight pixels, along the row
// and down.
#define POWER(coefficient, along, down) \
	VBROADCASTSS coefficient(DX), Y10 \
	VMULPS Y8, along, along           \
	VMULPS Y9, down, down             \
	VADDPS Y10, along, along          \
	VBROADCASTSS coefficient(AX), Y10 \
	VADDPS Y10, down, down

// func(out *float32, pix unsafe.Pointer, at *int, u, v *float32, n, stride, ch, ahead int, along, down *Kernel, p *plan)
//
// Of eight pixels at a time the frame holds the weights along the row, a pixel
// after the other, and those down, a tap after the other.
TEXT WINDOW(SB), NOSPLIT, $528-96
	MOVQ out+0(FP), DI
	MOVQ pix+8(FP), SI
	MOVQ at+16(FP), R8
	MOVQ stride+48(FP), R11
	MOVQ ch+56(FP), R12
	MOVQ p+88(FP), R13
	SHLQ $2, R12
	MOVQ 272(R13), R14
	IMULQ $SIZE, R14 // from a vector to the next
	VMOVDQU 0(R13), Y13
	VMOVDQU 32(R13), Y14
	VMOVDQU 64(R13), Y15
	VMOVDQU 128(R13), Y12
	VMOVDQU 160(R13), Y11
	MOVQ along+72(FP), DX
	MOVQ (DX), AX
	SHRQ $1, AX
	DECQ AX
	MOVQ AX, pairs-8(SP) // of rows, but for the first
	VXORPS Y0, Y0, Y0
	LEAQ across-528(SP), R9
	MOVQ $8, CX
windowClear: // what four taps leave of eight: denormal numbers there would be slow
	VMOVUPS Y0, (R9)
	ADDQ $32, R9
	DECQ CX
	JNZ windowClear
windowBlock:
	MOVQ n+40(FP), CX
	VMOVQ CX, X10
	VPBROADCASTD X10, Y10
	VPCMPGTD ·iota(SB), Y10, Y10 // the pixels that there are
	MOVQ u+24(FP), R9
	MOVQ v+32(FP), R10
	VMASKMOVPS (R9), Y10, Y8
	VMASKMOVPS (R10), Y10, Y9
	ADDQ $32, u+24(FP)
	ADDQ $32, v+32(FP)
	VBROADCASTSS ·half(SB), Y10
	VSUBPS Y10, Y8, Y8
	VSUBPS Y10, Y9, Y9
	MOVQ along+72(FP), DX
	MOVQ (DX), R15
	LEAQ across-528(SP), R9
	LEAQ down-272(SP), R10
	MOVQ $16, BX // the way to the coefficients
windowWeights: // of four taps
	MOVQ along+72(FP), DX
	MOVQ down+80(FP), AX
	ADDQ BX, DX
	ADDQ BX, AX
	VBROADCASTSS (DX), Y0
	VBROADCASTSS 4(DX), Y1
	VBROADCASTSS 8(DX), Y2
	VBROADCASTSS 12(DX), Y3
	VBROADCASTSS (AX), Y4
	VBROADCASTSS 4(AX), Y5
	VBROADCASTSS 8(AX), Y6
	VBROADCASTSS 12(AX), Y7
	MOVQ along+72(FP), BX
	MOVQ 8(BX), BX
windowPower:
	ADDQ $32, DX
	ADDQ $32, AX
	POWER(0, Y0, Y4)
	POWER(4, Y1, Y5)
	POWER(8, Y2, Y6)
	POWER(12, Y3, Y7)
	DECQ BX
	JNZ windowPower
	VMOVUPS Y4, (R10)
	VMOVUPS Y5, 32(R10)
	VMOVUPS Y6, 64(R10)
	VMOVUPS Y7, 96(R10)
	VUNPCKLPS Y1, Y0, Y4
	VUNPCKHPS Y1, Y0, Y5
	VUNPCKLPS Y3, Y2, Y6
	VUNPCKHPS Y3, Y2, Y7
	VUNPCKLPD Y6, Y4, Y0
	VUNPCKHPD Y6, Y4, Y1
	VUNPCKLPD Y7, Y5, Y2
	VUNPCKHPD Y7, Y5, Y3
	VMOVUPS X0, (R9)
	VMOVUPS X1, 32(R9)
	VMOVUPS X2, 64(R9)
	VMOVUPS X3, 96(R9)
	VEXTRACTF128 $1, Y0, 128(R9)
	VEXTRACTF128 $1, Y1, 160(R9)
	VEXTRACTF128 $1, Y2, 192(R9)
	VEXTRACTF128 $1, Y3, 224(R9)
	ADDQ $16, R9
	ADDQ $128, R10
	MOVQ $32, BX
	SUBQ $4, R15
	JGT windowWeights
	LEAQ across-528(SP), R9
	LEAQ down-272(SP), R10
	MOVQ $8, AX
	CMPQ CX, AX
	CMOVQGT AX, CX
	SUBQ $8, n+40(FP)
windowPixel:
	MOVQ (R8), AX
	TESTQ AX, AX
	JLT windowNext
	LEAQ (SI)(AX*SIZE), AX
	LEAQ (AX)(R11*1), BX
	MOVQ R10, DX
	MOVQ pairs-8(SP), R15
	VBROADCASTSS (DX), Y0
	VBROADCASTSS 32(DX), Y1
	CMPQ 256(R13), $2
	JLT windowOne
	JEQ windowTwo
	CMPQ 256(R13), $4
	JEQ windowFour

	WEIGH((AX), Y0, Y5)
	WEIGH((AX)(R14*1), Y0, Y6)
	WEIGH((AX)(R14*2), Y0, Y7)
	WEIGH((BX), Y1, Y8)
	WEIGH((BX)(R14*1), Y1, Y9)
	WEIGH((BX)(R14*2), Y1, Y10)
	VADDPS Y8, Y5, Y5
	VADDPS Y9, Y6, Y6
	VADDPS Y10, Y7, Y7
windowThreeRows:
	LEAQ (AX)(R11*2), AX
	LEAQ (BX)(R11*2), BX
	ADDQ $64, DX
	VBROADCASTSS (DX), Y0
	VBROADCASTSS 32(DX), Y1
	WEIGH((AX), Y0, Y2)
	WEIGH((AX)(R14*1), Y0, Y3)
	WEIGH((AX)(R14*2), Y0, Y4)
	WEIGH((BX), Y1, Y8)
	WEIGH((BX)(R14*1), Y1, Y9)
	WEIGH((BX)(R14*2), Y1, Y10)
	VADDPS Y2, Y5, Y5
	VADDPS Y3, Y6, Y6
	VADDPS Y4, Y7, Y7
	VADDPS Y8, Y5, Y5
	VADDPS Y9, Y6, Y6
	VADDPS Y10, Y7, Y7
	DECQ R15
	JNZ windowThreeRows
	VPERMPS (R9), Y13, Y8
	VPERMPS (R9), Y14, Y9
	VPERMPS (R9), Y15, Y10
	VMULPS Y8, Y5, Y5
	VMULPS Y9, Y6, Y6
	VMULPS Y10, Y7, Y7
	VADDPS Y6, Y5, Y5
	VADDPS Y7, Y5, Y5
	JMP windowFold

windowFour: // a row at a time
	LEAQ (AX)(R14*2), BX
	WEIGH((AX), Y0, Y5)
	WEIGH((AX)(R14*1), Y0, Y6)
	WEIGH((BX), Y0, Y7)
	WEIGH((BX)(R14*1), Y0, Y8)
	LEAQ 1(R15)(R15*1), R15
windowFourRow:
	ADDQ R11, AX
	LEAQ (AX)(R14*2), BX
	ADDQ $32, DX
	VBROADCASTSS (DX), Y0
	WEIGH((AX), Y0, Y1)
	WEIGH((AX)(R14*1), Y0, Y2)
	WEIGH((BX), Y0, Y3)
	WEIGH((BX)(R14*1), Y0, Y4)
	VADDPS Y1, Y5, Y5
	VADDPS Y2, Y6, Y6
	VADDPS Y3, Y7, Y7
	VADDPS Y4, Y8, Y8
	DECQ R15
	JNZ windowFourRow
	MOVQ AX, BX
	SUBQ R11, BX
	VMOVUPS 96(R13), Y4
	VPERMPS (R9), Y13, Y0
	VPERMPS (R9), Y14, Y1
	VPERMPS (R9), Y15, Y2
	VPERMPS (R9), Y4, Y3
	VMULPS Y0, Y5, Y5
	VMULPS Y1, Y6, Y6
	VMULPS Y2, Y7, Y7
	VMULPS Y3, Y8, Y8
	VADDPS Y6, Y5, Y5
	VADDPS Y7, Y5, Y5
	VADDPS Y8, Y5, Y5
	JMP windowFold

windowTwo:
	WEIGH((AX), Y0, Y5)
	WEIGH((AX)(R14*1), Y0, Y6)
	WEIGH((BX), Y1, Y8)
	WEIGH((BX)(R14*1), Y1, Y9)
	VADDPS Y8, Y5, Y5
	VADDPS Y9, Y6, Y6
windowTwoRows:
	LEAQ (AX)(R11*2), AX
	LEAQ (BX)(R11*2), BX
	ADDQ $64, DX
	VBROADCASTSS (DX), Y0
	VBROADCASTSS 32(DX), Y1
	WEIGH((AX), Y0, Y2)
	WEIGH((AX)(R14*1), Y0, Y3)
	WEIGH((BX), Y1, Y8)
	WEIGH((BX)(R14*1), Y1, Y9)
	VADDPS Y2, Y5, Y5
	VADDPS Y3, Y6, Y6
	VADDPS Y8, Y5, Y5
	VADDPS Y9, Y6, Y6
	DECQ R15
	JNZ windowTwoRows
	VPERMPS (R9), Y13, Y8
	VPERMPS (R9), Y14, Y9
	VMULPS Y8, Y5, Y5
	VMULPS Y9, Y6, Y6
	VANDPS Y12, Y6, Y6
	VADDPS Y6, Y5, Y5
	JMP windowFold

windowOne:
	WEIGH((AX), Y0, Y5)
	WEIGH((BX), Y1, Y8)
	VADDPS Y8, Y5, Y5
windowOneRows:
	LEAQ (AX)(R11*2), AX
	LEAQ (BX)(R11*2), BX
	ADDQ $64, DX
	VBROADCASTSS (DX), Y0
	VBROADCASTSS 32(DX), Y1
	WEIGH((AX), Y0, Y2)
	WEIGH((BX), Y1, Y8)
	VADDPS Y2, Y5, Y5
	VADDPS Y8, Y5, Y5
	DECQ R15
	JNZ windowOneRows
	VPERMPS (R9), Y13, Y8
	VMULPS Y8, Y5, Y5
	VANDPS Y12, Y5, Y5

windowFold:
	MOVQ ahead+64(FP), R15
	PREFETCHT0 (AX)(R15*1)
	PREFETCHT0 (BX)(R15*1)
	VPERMPS Y5, Y11, Y8
	VADDPS Y8, Y5, Y5
	MOVQ 264(R13), BX
	DECQ BX
	JEQ windowFolded
	LEAQ 192(R13), DX
windowFolding: // fewer channels than three
	VMOVDQU (DX), Y8
	VPERMPS Y5, Y8, Y8
	VADDPS Y8, Y5, Y5
	ADDQ $32, DX
	DECQ BX
	JNZ windowFolding
windowFolded:
	VMOVUPS X5, (DI)
windowNext:
	ADDQ $8, R8
	ADDQ $32, R9
	ADDQ $4, R10
	ADDQ R12, DI
	DECQ CX
	JNZ windowPixel
	CMPQ n+40(FP), $0
	JGT windowBlock
	VZEROUPPER
	RET

// TEXELS adds the m-th vector of eight weights to a sum.
#define TEXELS(m, lanes, sum) \
	VPERMPS Y2, lanes, Y3      \
	LOAD8((AX), Y4)            \
	DROP(Y3, Y4)               \
	VMULPS Y3, Y4, Y4          \
	VADDPS Y4, sum, sum        \
	ADDQ R14, AX               \
	SUBQ R10, BX

// func(out *float32, e *Ellipse, pix unsafe.Pointer, at *int, fx, fy *float32, y *int32, n, stride, ch, rows int, p *plan)
//
// The frame holds, of all pixels and eight rows at a time, a row in each lane:
// what a row leaves of 1; the distance of its first texel from its middle; the
// place of that texel, in bytes.
TEXT MEAN(SB), 0, $1536-96
	NO_LOCAL_POINTERS
	MOVQ e+8(FP), R8
	MOVQ p+88(FP), R13
	MOVQ fx+32(FP), SI
	MOVQ fy+40(FP), DI
	MOVQ y+48(FP), R9
	MOVQ n+56(FP), CX
	LEAQ heads-1536(SP), R11
	MOVQ ch+72(FP), AX
	IMULQ $SIZE, AX // bytes a texel
	VMOVQ AX, X15
	VPBROADCASTD X15, Y15
	VBROADCASTSS 4(R8), Y14
	VBROADCASTSS 12(R8), Y13
	VBROADCASTSS (R8), Y12
	VBROADCASTSS ·one(SB), Y11
	VPBROADCASTD ·blockRows(SB), Y10
meanHead:
	VPBROADCASTD (R9), Y0
	VPADDD ·iota(SB), Y0, Y0
	VBROADCASTSS (SI), Y8
	VBROADCASTSS (DI), Y9
	MOVQ rows+80(FP), DX
meanBlock:
	VCVTDQ2PS Y0, Y1
	VSUBPS Y9, Y1, Y1 // dy
	VMULPS Y1, Y14, Y2
	VADDPS Y2, Y8, Y2 // the middle of the row
	VMULPS Y1, Y1, Y1
	VMULPS Y13, Y1, Y1
	VSUBPS Y1, Y11, Y1
	VMOVUPS Y1, (R11)
	VSUBPS Y12, Y2, Y3
	VROUNDPS $10, Y3, Y3 // the first texel
	VSUBPS Y2, Y3, Y2
	VMOVUPS Y2, 32(R11)
	VCVTTPS2DQ Y3, Y3
	VPMULLD Y15, Y3, Y3
	VMOVDQU Y3, 64(R11)
	ADDQ $96, R11
	VPADDD Y10, Y0, Y0
	SUBQ $8, DX
	JGT meanBlock
	ADDQ $4, SI
	ADDQ $4, DI
	ADDQ $4, R9
	DECQ CX
	JNZ meanHead

	MOVQ 24(R8), R12 // coefficients
	MOVQ stride+64(FP), R9
	MOVQ 280(R13), R10 // texels a vector
	MOVQ 272(R13), R14
	IMULQ $SIZE, R14 // bytes a vector
	VBROADCASTSS 8(R8), Y11
	VMOVDQU 0(R13), Y12
	VMOVDQU 32(R13), Y13
	VMOVDQU 64(R13), Y14
	VMOVDQU 96(R13), Y15
	VXORPS Y9, Y9, Y9
	LEAQ heads-1536(SP), R11
	MOVQ out+0(FP), DI
meanPixel:
	MOVQ y+48(FP), DX
	MOVLQSX (DX), SI
	ADDQ $4, y+48(FP)
	IMULQ R9, SI
	MOVQ at+24(FP), DX
	MOVQ (DX), AX
	ADDQ $8, at+24(FP)
	IMULQ $SIZE, AX
	ADDQ AX, SI
	ADDQ pix+16(FP), SI
	VXORPS Y5, Y5, Y5 // of the weights
	VXORPS Y6, Y6, Y6 // of the samples, by turns
	VXORPS Y7, Y7, Y7
	MOVQ rows+80(FP), CX
	MOVQ $8, DX
meanRow:
	MOVLQSX 64(R11), AX
	ADDQ SI, AX
	MOVQ 16(R8), BX
	VBROADCASTSS 32(R11), Y0
	VBROADCASTSS (R11), Y10
	VADDPS ·steps(SB), Y0, Y0 // distances from the middle
meanEight:
	VMULPS Y0, Y0, Y1
	VMULPS Y11, Y1, Y1
	VSUBPS Y1, Y10, Y1
	VMAXPS Y9, Y1, Y1
	VMULPS Y1, Y1, Y2
	VMULPS 32(R12), Y1, Y3
	VMULPS 96(R12), Y1, Y4
	VMULPS (R12), Y2, Y8
	VADDPS 64(R12), Y3, Y3
	VADDPS 128(R12), Y4, Y4
	VADDPS Y8, Y3, Y3
	VMULPS Y2, Y3, Y3
	VADDPS Y3, Y4, Y4
	VMULPS Y4, Y2, Y2
	VADDPS Y2, Y5, Y5
	TEXELS(0, Y12, Y6)
	JLE meanNext
	CMPQ R10, $8
	JEQ meanMore
	TEXELS(1, Y13, Y7)
	JLE meanNext
	CMPQ R10, $4
	JEQ meanMore
	TEXELS(2, Y14, Y6)
	JLE meanNext
	TEXELS(3, Y15, Y7)
	JLE meanNext
meanMore:
	VADDPS ·eights(SB), Y0, Y0
	JMP meanEight
meanNext:
	ADDQ R9, SI
	ADDQ $4, R11
	DECQ DX
	JNZ meanSame
	ADDQ $64, R11
	MOVQ $8, DX
meanSame:
	DECQ CX
	JNZ meanRow
	CMPQ DX, $8
	JEQ meanFolds
	LEAQ 64(R11)(DX*4), R11 // the next pixel's block
meanFolds:
	VEXTRACTF128 $1, Y5, X0
	VADDPS X0, X5, X5
	VPERMILPS $0x0e, X5, X0
	VADDPS X0, X5, X5
	VPERMILPS $0x01, X5, X0
	VADDSS X0, X5, X5
	VBROADCASTSS X5, X5
	VADDPS Y7, Y6, Y6
	LEAQ 160(R13), DX
	MOVQ 264(R13), BX
meanFold:
	VMOVDQU (DX), Y0
	VPERMPS Y6, Y0, Y0
	VADDPS Y0, Y6, Y6
	ADDQ $32, DX
	DECQ BX
	JNZ meanFold
	VDIVPS X5, X6, X6
	VMOVUPS X6, (DI)
	MOVQ ch+72(FP), AX
	LEAQ (DI)(AX*4), DI
	DECQ n+56(FP)
	JNZ meanPixel
	VZEROUPPER
	RET
