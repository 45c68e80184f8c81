#include "textflag.h"

// Four numbers side by side, with the operations of kernels.go in their order.
// Nothing is fused.

// func packAVX(re, im, x, w *float64, n int)
TEXT ·packAVX(SB), NOSPLIT, $0-40
	MOVQ re+0(FP), DI
	MOVQ im+8(FP), R8
	MOVQ x+16(FP), SI
	MOVQ w+24(FP), DX
	MOVQ n+32(FP), CX

packloop:
	VMOVUPD   (SI), Y0
	VMOVUPD   32(SI), Y1
	VMULPD    (DX), Y0, Y0
	VMULPD    32(DX), Y1, Y1
	VUNPCKLPD Y1, Y0, Y2
	VUNPCKHPD Y1, Y0, Y3
	VPERMPD   $0xD8, Y2, Y2
	VPERMPD   $0xD8, Y3, Y3
	VMOVUPD   Y2, (DI)
	VMOVUPD   Y3, (R8)
	ADDQ      $64, SI
	ADDQ      $64, DX
	ADDQ      $32, DI
	ADDQ      $32, R8
	SUBQ      $8, CX
	JNZ       packloop
	VZEROUPPER
	RET

// func unpackAVX(y, re, im, w *float64, n int)
TEXT ·unpackAVX(SB), NOSPLIT, $0-40
	MOVQ y+0(FP), DI
	MOVQ re+8(FP), SI
	MOVQ im+16(FP), R8
	MOVQ w+24(FP), DX
	MOVQ n+32(FP), CX

unpackloop:
	VPERMPD   $0xD8, (SI), Y0
	VPERMPD   $0xD8, (R8), Y1
	VUNPCKLPD Y1, Y0, Y2
	VUNPCKHPD Y1, Y0, Y3
	VMULPD    (DX), Y2, Y2
	VMULPD    32(DX), Y3, Y3
	VADDPD    (DI), Y2, Y2
	VADDPD    32(DI), Y3, Y3
	VMOVUPD   Y2, (DI)
	VMOVUPD   Y3, 32(DI)
	ADDQ      $32, SI
	ADDQ      $32, R8
	ADDQ      $64, DX
	ADDQ      $64, DI
	SUBQ      $8, CX
	JNZ       unpackloop
	VZEROUPPER
	RET

// func weightAVX(y, x, gains *float64, n int)
TEXT ·weightAVX(SB), NOSPLIT, $0-32
	MOVQ y+0(FP), DI
	MOVQ x+8(FP), SI
	MOVQ gains+16(FP), DX
	MOVQ n+24(FP), CX

weightloop:
	VMOVUPD (SI), Y0
	VMULPD  (DX), Y0, Y0
	VMOVUPD Y0, (DI)
	ADDQ    $32, SI
	ADDQ    $32, DX
	ADDQ    $32, DI
	SUBQ    $4, CX
	JNZ     weightloop
	VZEROUPPER
	RET

// func powerAVX(p, re, im *float64, n int)
TEXT ·powerAVX(SB), NOSPLIT, $0-32
	MOVQ p+0(FP), DI
	MOVQ re+8(FP), SI
	MOVQ im+16(FP), DX
	MOVQ n+24(FP), CX

powerloop:
	VMOVUPD (SI), Y0
	VMULPD  Y0, Y0, Y0
	VMOVUPD (DX), Y1
	VMULPD  Y1, Y1, Y1
	VADDPD  Y1, Y0, Y0
	VADDPD  (DI), Y0, Y0
	VMOVUPD Y0, (DI)
	ADDQ    $32, SI
	ADDQ    $32, DX
	ADDQ    $32, DI
	SUBQ    $4, CX
	JNZ     powerloop
	VZEROUPPER
	RET

// Sums and differences of the radix-4 butterfly: a … d in Y0 … Y7, the real part
// before the imaginary one, become a+c+(b+d) in Y10 and Y11 and what is still
// to be turned: in Y4 and Y5, in Y8 and Y9, in Y6 and Y7.
#define BUTTERFLY \
	VADDPD Y4, Y0, Y8; \
	VSUBPD Y4, Y0, Y0; \
	VADDPD Y5, Y1, Y9; \
	VSUBPD Y5, Y1, Y1; \
	VADDPD Y6, Y2, Y4; \
	VSUBPD Y6, Y2, Y2; \
	VADDPD Y7, Y3, Y5; \
	VSUBPD Y7, Y3, Y3; \
	VADDPD Y4, Y8, Y10; \
	VADDPD Y5, Y9, Y11; \
	VSUBPD Y4, Y8, Y8; \
	VSUBPD Y5, Y9, Y9; \
	VADDPD Y3, Y0, Y4; \
	VSUBPD Y2, Y1, Y5; \
	VSUBPD Y3, Y0, Y6; \
	VADDPD Y2, Y1, Y7

// R + iI times WR + iWI, into R and I; Y0 and Y1 are overwritten.
#define TURN(re, im, wr, wi) \
	VMULPD wi, im, Y0; \
	VMULPD wi, re, Y1; \
	VMULPD wr, re, re; \
	VMULPD wr, im, im; \
	VSUBPD Y0, re, re; \
	VADDPD Y1, im, im

// Rows A … D of four numbers become columns, stored one after the other at P;
// Y0 … Y3 are overwritten.
#define COLUMNS(A, B, C, D, P) \
	VUNPCKLPD  B, A, Y0; \
	VUNPCKHPD  B, A, Y1; \
	VUNPCKLPD  D, C, Y2; \
	VUNPCKHPD  D, C, Y3; \
	VPERM2F128 $0x20, Y2, Y0, A; \
	VPERM2F128 $0x20, Y3, Y1, B; \
	VPERM2F128 $0x31, Y2, Y0, C; \
	VPERM2F128 $0x31, Y3, Y1, D; \
	VMOVUPD    A, (P); \
	VMOVUPD    B, 32(P); \
	VMOVUPD    C, 64(P); \
	VMOVUPD    D, 96(P)

// func firstPassAVX(yr, yi, xr, xi, w *float64, groups int)
TEXT ·firstPassAVX(SB), NOSPLIT, $0-48
	MOVQ yr+0(FP), DI
	MOVQ yi+8(FP), R8
	MOVQ xr+16(FP), SI
	MOVQ xi+24(FP), R9
	MOVQ w+32(FP), DX
	MOVQ groups+40(FP), CX
	MOVQ CX, R10
	SHLQ $3, R10              // bytes from a to b
	LEAQ (R10)(R10*2), R11    // and from a to d

firstloop:
	VMOVUPD (SI), Y0
	VMOVUPD (R9), Y1
	VMOVUPD (SI)(R10*1), Y2
	VMOVUPD (R9)(R10*1), Y3
	VMOVUPD (SI)(R10*2), Y4
	VMOVUPD (R9)(R10*2), Y5
	VMOVUPD (SI)(R11*1), Y6
	VMOVUPD (R9)(R11*1), Y7
	BUTTERFLY
	VMOVUPD (DX), Y12
	VMOVUPD 32(DX), Y13
	TURN(Y4, Y5, Y12, Y13)
	VMOVUPD 64(DX), Y12
	VMOVUPD 96(DX), Y13
	TURN(Y8, Y9, Y12, Y13)
	VMOVUPD 128(DX), Y12
	VMOVUPD 160(DX), Y13
	TURN(Y6, Y7, Y12, Y13)
	COLUMNS(Y10, Y4, Y8, Y6, DI)
	COLUMNS(Y11, Y5, Y9, Y7, R8)
	ADDQ    $32, SI
	ADDQ    $32, R9
	ADDQ    $192, DX
	ADDQ    $128, DI
	ADDQ    $128, R8
	SUBQ    $4, CX
	JNZ     firstloop
	VZEROUPPER
	RET

// func laterPassAVX(yr, yi, xr, xi, w *float64, groups, stride int)
TEXT ·laterPassAVX(SB), NOSPLIT, $0-56
	MOVQ  yr+0(FP), DI
	MOVQ  yi+8(FP), R8
	MOVQ  xr+16(FP), SI
	MOVQ  xi+24(FP), R9
	MOVQ  w+32(FP), DX
	MOVQ  groups+40(FP), CX
	MOVQ  stride+48(FP), AX
	SHLQ  $3, AX               // bytes between results
	MOVQ  AX, R10
	IMULQ CX, R10              // bytes from a to b
	LEAQ  (R10)(R10*2), R11    // and from a to d
	LEAQ  (AX)(AX*2), R12      // bytes to the fourth result

group:
	MOVQ AX, BX

laterloop:
	VMOVUPD      (SI), Y0
	VMOVUPD      (R9), Y1
	VMOVUPD      (SI)(R10*1), Y2
	VMOVUPD      (R9)(R10*1), Y3
	VMOVUPD      (SI)(R10*2), Y4
	VMOVUPD      (R9)(R10*2), Y5
	VMOVUPD      (SI)(R11*1), Y6
	VMOVUPD      (R9)(R11*1), Y7
	BUTTERFLY
	VMOVUPD      Y10, (DI)
	VMOVUPD      Y11, (R8)
	VBROADCASTSD (DX), Y12
	VBROADCASTSD 8(DX), Y13
	TURN(Y4, Y5, Y12, Y13)
	VMOVUPD      Y4, (DI)(AX*1)
	VMOVUPD      Y5, (R8)(AX*1)
	VBROADCASTSD 16(DX), Y12
	VBROADCASTSD 24(DX), Y13
	TURN(Y8, Y9, Y12, Y13)
	VMOVUPD      Y8, (DI)(AX*2)
	VMOVUPD      Y9, (R8)(AX*2)
	VBROADCASTSD 32(DX), Y12
	VBROADCASTSD 40(DX), Y13
	TURN(Y6, Y7, Y12, Y13)
	VMOVUPD      Y6, (DI)(R12*1)
	VMOVUPD      Y7, (R8)(R12*1)
	ADDQ         $32, SI
	ADDQ         $32, R9
	ADDQ         $32, DI
	ADDQ         $32, R8
	SUBQ         $32, BX
	JNZ          laterloop
	ADDQ         R12, DI
	ADDQ         R12, R8
	ADDQ         $48, DX
	DECQ         CX
	JNZ          group
	VZEROUPPER
	RET

// Line k … k+3 of two parts in Y0 and Y1, and lines m … m−3 in Y2 and Y3.
#define BOTHENDS \
	VMOVUPD (SI), Y0; \
	VMOVUPD (R9), Y1; \
	VPERMPD $0x1B, (R10), Y2; \
	VPERMPD $0x1B, (R11), Y3

// The pointers of both: SI and R9 go up from the first, R10 and R11 down from
// three before the last of n+1.
#define ENDS \
	LEAQ -24(SI)(CX*8), R10; \
	LEAQ -24(R9)(CX*8), R11

#define ADVANCE \
	ADDQ $32, SI; \
	ADDQ $32, R9; \
	SUBQ $32, R10; \
	SUBQ $32, R11; \
	ADDQ $32, DI; \
	ADDQ $32, R8; \
	ADDQ $32, DX; \
	ADDQ $32, R12; \
	SUBQ $4, CX

// func untangleAVX(re, im, zr, zi, wr, wi *float64, n int)
TEXT ·untangleAVX(SB), NOSPLIT, $0-56
	MOVQ re+0(FP), DI
	MOVQ im+8(FP), R8
	MOVQ zr+16(FP), SI
	MOVQ zi+24(FP), R9
	MOVQ wr+32(FP), DX
	MOVQ wi+40(FP), R12
	MOVQ n+48(FP), CX
	ENDS

untangleloop:
	BOTHENDS
	VADDPD  Y2, Y0, Y4    // er
	VSUBPD  Y3, Y1, Y5    // ei
	VADDPD  Y3, Y1, Y6    // or
	VSUBPD  Y0, Y2, Y7    // oi
	VMOVUPD (DX), Y8
	VMOVUPD (R12), Y9
	VMULPD  Y8, Y6, Y10
	VMULPD  Y9, Y7, Y11
	VSUBPD  Y11, Y10, Y10
	VADDPD  Y10, Y4, Y4
	VMULPD  Y8, Y7, Y12
	VMULPD  Y9, Y6, Y13
	VADDPD  Y13, Y12, Y12
	VADDPD  Y12, Y5, Y5
	VMOVUPD Y4, (DI)
	VMOVUPD Y5, (R8)
	ADVANCE
	JNZ     untangleloop
	VZEROUPPER
	RET

// func tangleAVX(zr, zi, re, im, wr, wi *float64, n int)
TEXT ·tangleAVX(SB), NOSPLIT, $0-56
	MOVQ zr+0(FP), DI
	MOVQ zi+8(FP), R8
	MOVQ re+16(FP), SI
	MOVQ im+24(FP), R9
	MOVQ wr+32(FP), DX
	MOVQ wi+40(FP), R12
	MOVQ n+48(FP), CX
	ENDS

tangleloop:
	BOTHENDS
	VADDPD  Y2, Y0, Y4    // er
	VSUBPD  Y3, Y1, Y5    // ei
	VSUBPD  Y2, Y0, Y6    // dr
	VADDPD  Y3, Y1, Y7    // di
	VMOVUPD (DX), Y8
	VMOVUPD (R12), Y9
	VMULPD  Y8, Y6, Y10
	VMULPD  Y9, Y7, Y11
	VADDPD  Y11, Y10, Y10 // or
	VMULPD  Y8, Y7, Y12
	VMULPD  Y9, Y6, Y13
	VSUBPD  Y13, Y12, Y12 // oi
	VSUBPD  Y12, Y4, Y4
	VADDPD  Y10, Y5, Y5
	VMOVUPD Y4, (DI)
	VMOVUPD Y5, (R8)
	ADVANCE
	JNZ     tangleloop
	VZEROUPPER
	RET
