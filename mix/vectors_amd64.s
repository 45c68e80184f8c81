#include "textflag.h"

// The constants of weighGo.
DATA ·one+0(SB)/8, $1.0
GLOBL ·one(SB), RODATA|NOPTR, $8
DATA ·least+0(SB)/8, $1e-300
GLOBL ·least(SB), RODATA|NOPTR, $8

// func weighAVX(gains, power, bars *float64, floor, fall float64, n int)
// Four lines of weighGo side by side, in its order of operations.
TEXT ·weighAVX(SB), NOSPLIT, $0-48
	MOVQ         gains+0(FP), DI
	MOVQ         power+8(FP), SI
	MOVQ         bars+16(FP), DX
	VBROADCASTSD floor+24(FP), Y8
	VBROADCASTSD fall+32(FP), Y9
	MOVQ         n+40(FP), CX
	VBROADCASTSD ·one(SB), Y10
	VBROADCASTSD ·least(SB), Y11
	VXORPD       Y12, Y12, Y12

loop:
	VMOVUPD (SI), Y0
	VADDPD  8(SI), Y0, Y0
	VADDPD  16(SI), Y0, Y0
	VMAXPD  Y11, Y0, Y0
	VMOVUPD (DX), Y1
	VDIVPD  Y0, Y1, Y1
	VSUBPD  Y1, Y10, Y1
	VMAXPD  Y12, Y1, Y1
	VSQRTPD Y1, Y1
	VMAXPD  Y8, Y1, Y1
	VMULPD  (DI), Y9, Y2
	VMAXPD  Y2, Y1, Y1
	VMOVUPD Y1, (DI)
	ADDQ    $32, SI
	ADDQ    $32, DX
	ADDQ    $32, DI
	SUBQ    $4, CX
	JNZ     loop
	VZEROUPPER
	RET

// func lineAVX(l *line, x *float64, n int)
TEXT ·lineAVX(SB), NOSPLIT, $0-24
	MOVQ    l+0(FP), DI
	MOVQ    x+8(FP), SI
	MOVQ    n+16(FP), CX
	VMOVUPD (DI), Y8     // b0
	VMOVUPD 32(DI), Y9   // b1
	VMOVUPD 64(DI), Y10  // b2
	VMOVUPD 96(DI), Y11  // a1
	VMOVUPD 128(DI), Y12 // a2
	VMOVUPD 160(DI), Y1  // s1
	VMOVUPD 192(DI), Y2  // s2

	// The newest sample first: it is the first section's.
	VPERMPD $0x1B, (SI), Y0

lineloop:
	VMULPD       Y8, Y0, Y3
	VADDPD       Y1, Y3, Y3        // y = b0*v + s1
	VMULPD       Y9, Y0, Y4
	VADDPD       Y2, Y4, Y4
	VMULPD       Y11, Y3, Y5
	VSUBPD       Y5, Y4, Y1        // s1 = b1*v + s2 - a1*y
	VMULPD       Y10, Y0, Y6
	VMULPD       Y12, Y3, Y7
	VSUBPD       Y7, Y6, Y2        // s2 = b2*v - a2*y
	VEXTRACTF128 $1, Y3, X4
	VMOVHPD      X4, (SI)
	ADDQ         $8, SI
	DECQ         CX
	JZ           linedone
	VBROADCASTSD 24(SI), Y5
	VPERMPD      $0x90, Y3, Y0
	VBLENDPD     $1, Y5, Y0, Y0
	JMP          lineloop

linedone:
	// Y3 is what all sections gave last: the first three of it wait.
	VMOVSD       X3, 16(SI)
	VMOVHPD      X3, 8(SI)
	VEXTRACTF128 $1, Y3, X4
	VMOVSD       X4, (SI)
	VMOVUPD      Y1, 160(DI)
	VMOVUPD      Y2, 192(DI)
	VZEROUPPER
	RET
