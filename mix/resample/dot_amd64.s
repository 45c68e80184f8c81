#include "textflag.h"

// Four sums side by side, in the order in which the Go code of dot.go adds
// them, so that both give the same bits. Nothing is fused: a product is rounded
// before it is added.

// func dotAVX(x, a *float64, n int) float64
TEXT ·dotAVX(SB), NOSPLIT, $0-32
	MOVQ   x+0(FP), SI
	MOVQ   a+8(FP), DI
	MOVQ   n+16(FP), CX
	VXORPD Y0, Y0, Y0

loop1:
	VMOVUPD (SI), Y2
	VMULPD  (DI), Y2, Y3
	VADDPD  Y3, Y0, Y0
	ADDQ    $32, SI
	ADDQ    $32, DI
	SUBQ    $4, CX
	JNZ     loop1

	VHADDPD      Y0, Y0, Y0
	VEXTRACTF128 $1, Y0, X1
	VADDPD       X1, X0, X0
	VMOVSD       X0, ret+24(FP)
	VZEROUPPER
	RET

// Four taps of output o of four: what lies before it is read backwards from R10
// down, what lies after it from R11 up; its sums are in ACC.
#define HALFWAY(o, ACC) \
	VPERMPD $0x1B, (8*o-24)(R10), Y4; \
	VADDPD  (8*o)(R11), Y4, Y4; \
	VMULPD  Y8, Y4, Y4; \
	VADDPD  Y4, ACC, ACC

// func doubleAVX(y, last, half *float64, n, taps int)
TEXT ·doubleAVX(SB), NOSPLIT, $0-40
	MOVQ y+0(FP), DI
	MOVQ last+8(FP), SI
	MOVQ half+16(FP), R8
	MOVQ n+24(FP), BX
	MOVQ taps+32(FP), R9

doubleloop:
	MOVQ   SI, R10
	LEAQ   8(SI), R11
	MOVQ   R8, DX
	MOVQ   R9, CX
	VXORPD Y0, Y0, Y0
	VXORPD Y1, Y1, Y1
	VXORPD Y2, Y2, Y2
	VXORPD Y3, Y3, Y3

doubletaps:
	VMOVUPD (DX), Y8
	HALFWAY(0, Y0)
	HALFWAY(1, Y1)
	HALFWAY(2, Y2)
	HALFWAY(3, Y3)
	SUBQ    $32, R10
	ADDQ    $32, R11
	ADDQ    $32, DX
	SUBQ    $4, CX
	JNZ     doubletaps

	// (s0+s1)+(s2+s3) of each, between the samples they follow.
	VHADDPD      Y1, Y0, Y0
	VHADDPD      Y3, Y2, Y2
	VEXTRACTF128 $1, Y0, X1
	VEXTRACTF128 $1, Y2, X3
	VADDPD       X1, X0, X0
	VADDPD       X3, X2, X2
	VMOVUPD      (SI), X4
	VMOVUPD      16(SI), X5
	VUNPCKLPD    X0, X4, X6
	VUNPCKHPD    X0, X4, X7
	VMOVUPD      X6, (DI)
	VMOVUPD      X7, 16(DI)
	VUNPCKLPD    X2, X5, X6
	VUNPCKHPD    X2, X5, X7
	VMOVUPD      X6, 32(DI)
	VMOVUPD      X7, 48(DI)
	ADDQ         $32, SI
	ADDQ         $64, DI
	SUBQ         $4, BX
	JNZ          doubleloop
	VZEROUPPER
	RET

// func pickAVX(y, x, rows *float64, spots *spot, n, taps int)
TEXT ·pickAVX(SB), NOSPLIT, $0-48
	MOVQ y+0(FP), DI
	MOVQ x+8(FP), SI
	MOVQ rows+16(FP), R8
	MOVQ spots+24(FP), AX
	MOVQ n+32(FP), BX
	MOVQ taps+40(FP), R9

spotloop:
	MOVQ   (AX), R10
	LEAQ   (SI)(R10*8), R10
	MOVQ   8(AX), R11
	LEAQ   (R8)(R11*8), R11
	LEAQ   (R11)(R9*8), R12
	MOVQ   R9, CX
	VXORPD Y0, Y0, Y0
	VXORPD Y1, Y1, Y1

spottaps:
	VMOVUPD (R10), Y2
	VMULPD  (R11), Y2, Y3
	VMULPD  (R12), Y2, Y4
	VADDPD  Y3, Y0, Y0
	VADDPD  Y4, Y1, Y1
	ADDQ    $32, R10
	ADDQ    $32, R11
	ADDQ    $32, R12
	SUBQ    $4, CX
	JNZ     spottaps

	// (s0+s1)+(s2+s3) of both rows, and the place between them.
	VHADDPD      Y1, Y0, Y0
	VEXTRACTF128 $1, Y0, X1
	VADDPD       X1, X0, X0
	VUNPCKHPD    X0, X0, X1
	VSUBSD       X0, X1, X1
	VMULSD       16(AX), X1, X1
	VADDSD       X1, X0, X0
	VMOVSD       X0, (DI)
	ADDQ         $24, AX
	ADDQ         $8, DI
	DECQ         BX
	JNZ          spotloop
	VZEROUPPER
	RET
