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
