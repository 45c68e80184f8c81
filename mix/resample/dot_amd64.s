#include "textflag.h"

// Four sums side by side, in the order in which the Go code of dot.go adds
// them, so that both give the same bits. Nothing is fused: a product is rounded
// before it is added.

// func dot2AVX(x, a, b *float64, n int) (s, t float64)
TEXT ·dot2AVX(SB), NOSPLIT, $0-48
	MOVQ   x+0(FP), SI
	MOVQ   a+8(FP), DI
	MOVQ   b+16(FP), DX
	MOVQ   n+24(FP), CX
	VXORPD Y0, Y0, Y0
	VXORPD Y1, Y1, Y1

loop2:
	VMOVUPD (SI), Y2
	VMULPD  (DI), Y2, Y3
	VMULPD  (DX), Y2, Y4
	VADDPD  Y3, Y0, Y0
	VADDPD  Y4, Y1, Y1
	ADDQ    $32, SI
	ADDQ    $32, DI
	ADDQ    $32, DX
	SUBQ    $4, CX
	JNZ     loop2

	// (s0+s1)+(s2+s3) and the same of t.
	VHADDPD      Y1, Y0, Y0
	VEXTRACTF128 $1, Y0, X1
	VADDPD       X1, X0, X0
	VMOVSD       X0, s+32(FP)
	VUNPCKHPD    X0, X0, X0
	VMOVSD       X0, t+40(FP)
	VZEROUPPER
	RET

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

// func betweenAVX(last, after, half *float64, n int) float64
// last is read backwards.
TEXT ·betweenAVX(SB), NOSPLIT, $0-40
	MOVQ   last+0(FP), SI
	MOVQ   after+8(FP), DI
	MOVQ   half+16(FP), DX
	MOVQ   n+24(FP), CX
	VXORPD Y0, Y0, Y0

loopb:
	VPERMPD $0x1B, -24(SI), Y2
	SUBQ    $32, SI
	VMOVUPD (DI), Y1
	VADDPD  Y2, Y1, Y1
	VMULPD  (DX), Y1, Y1
	VADDPD  Y1, Y0, Y0
	ADDQ    $32, DI
	ADDQ    $32, DX
	SUBQ    $4, CX
	JNZ     loopb

	VHADDPD      Y0, Y0, Y0
	VEXTRACTF128 $1, Y0, X1
	VADDPD       X1, X0, X0
	VMOVSD       X0, ret+32(FP)
	VZEROUPPER
	RET
