#include "textflag.h"

// Four lines side by side, with the operations of weigh.go in their order. Nothing is fused.

DATA ·four+0(SB)/8, $0.8
GLOBL ·four(SB), RODATA|NOPTR, $8
DATA ·fifth+0(SB)/8, $0.2
GLOBL ·fifth(SB), RODATA|NOPTR, $8
DATA ·top+0(SB)/8, $10000.0
GLOBL ·top(SB), RODATA|NOPTR, $8

// func weighAVX(gains, past, ratios, coming, later, floors *float64, w *weighing, n int)
TEXT ·weighAVX(SB), NOSPLIT, $0-64
	MOVQ    gains+0(FP), DI
	MOVQ    past+8(FP), SI
	MOVQ    ratios+16(FP), DX
	MOVQ    coming+24(FP), R8
	MOVQ    later+32(FP), R9
	MOVQ    floors+40(FP), R11
	MOVQ    w+48(FP), BX
	MOVQ    n+56(FP), CX
	LEAQ    ·liftTable(SB), R10
	VMOVUPD 256(BX), Y15  // one
	VMOVUPD (BX), Y14     // sound
	VXORPD  Y13, Y13, Y13 // zero

weighloop:
	VMOVUPD   (DX), Y0       // after
	VMOVUPD   (R8), Y1       // next
	VSUBPD    Y15, Y0, Y2
	VMAXPD    Y13, Y2, Y2    // over
	VCMPPD    $30, Y14, Y0, Y3
	VCMPPD    $30, Y14, Y1, Y4
	VANDPD    Y4, Y3, Y3
	VMOVUPD   96(BX), Y5     // trust
	VMOVUPD   160(BX), Y6    // atStart
	VBLENDVPD Y3, Y6, Y5, Y5
	VMOVUPD   128(BX), Y6    // rest
	VMOVUPD   192(BX), Y7    // restThen
	VBLENDVPD Y3, Y7, Y6, Y6
	VMULPD    (SI), Y5, Y5
	VMULPD    Y2, Y6, Y6
	VADDPD    Y6, Y5, Y5
	VMAXPD    224(BX), Y5, Y5 // prior
	VADDPD    Y15, Y5, Y6
	VDIVPD    Y6, Y5, Y5     // wiener
	VMULPD    Y0, Y5, Y6     // v

	// exp(½E₁(v)): the table, outside of which it is 1 or by the first term of the series.
	VMOVUPD    288(BX), Y9     // lowest
	VCMPPD     $30, Y9, Y6, Y7 // v > lowest
	VMAXPD     Y9, Y6, Y8
	VMINPD     352(BX), Y8, Y8 // below
	VPSUBQ     448(BX), Y8, Y9 // bits
	VPSRLQ     $47, Y9, Y9
	VPCMPEQQ   Y10, Y10, Y10
	VGATHERQPD Y10, (R10)(Y9*8), Y11
	VPCMPEQQ   Y10, Y10, Y10
	VGATHERQPD Y10, 8(R10)(Y9*8), Y12
	VPAND      480(BX), Y8, Y8
	VPOR       512(BX), Y8, Y8
	VSUBPD     544(BX), Y8, Y8
	VMULPD     576(BX), Y8, Y8 // part
	VSUBPD     Y11, Y12, Y12
	VMULPD     Y12, Y8, Y8
	VADDPD     Y8, Y11, Y8
	VCMPPD     $29, 320(BX), Y6, Y9 // v >= highest
	VBLENDVPD  Y9, Y15, Y8, Y8
	VMOVMSKPD  Y7, AX
	CMPQ       AX, $15
	JEQ        lifted
	VADDPD     416(BX), Y6, Y9 // tiny
	VSQRTPD    Y9, Y9
	VMOVUPD    384(BX), Y10    // euler
	VDIVPD     Y9, Y10, Y9
	VBLENDVPD  Y7, Y8, Y9, Y8

lifted:
	VMULPD  Y8, Y5, Y5
	VMINPD  Y15, Y5, Y5      // g
	VMULPD  Y5, Y5, Y6
	VMULPD  Y0, Y6, Y6
	VMOVUPD Y6, (SI)
	VMAXPD  (R9), Y1, Y1     // most
	VCMPPD  $30, 32(BX), Y1, Y3
	VSUBPD  Y15, Y1, Y2
	VDIVPD  Y1, Y2, Y2       // ahead
	VANDPD  Y3, Y2, Y2
	VMAXPD  Y2, Y5, Y5
	VMAXPD  (R11), Y5, Y5
	VMOVUPD Y5, (DI)
	ADDQ    $32, DI
	ADDQ    $32, SI
	ADDQ    $32, DX
	ADDQ    $32, R8
	ADDQ    $32, R9
	ADDQ    $32, R11
	SUBQ    $4, CX
	JNZ     weighloop
	VZEROUPPER
	RET

// func stillAVX(smooth, least, power *float64, n int)
TEXT ·stillAVX(SB), NOSPLIT, $0-32
	MOVQ         smooth+0(FP), DI
	MOVQ         least+8(FP), SI
	MOVQ         power+16(FP), DX
	MOVQ         n+24(FP), CX
	VBROADCASTSD ·four(SB), Y8
	VBROADCASTSD ·fifth(SB), Y9

stillloop:
	VMULPD  (DI), Y8, Y0
	VMULPD  (DX), Y9, Y1
	VADDPD  Y1, Y0, Y0
	VMOVUPD Y0, (DI)
	VMINPD  (SI), Y0, Y0
	VMOVUPD Y0, (SI)
	ADDQ    $32, DI
	ADDQ    $32, SI
	ADDQ    $32, DX
	SUBQ    $4, CX
	JNZ     stillloop
	VZEROUPPER
	RET

// func overAVX(ratios, power, inverse *float64, n int)
TEXT ·overAVX(SB), NOSPLIT, $0-32
	MOVQ         ratios+0(FP), DI
	MOVQ         power+8(FP), SI
	MOVQ         inverse+16(FP), DX
	MOVQ         n+24(FP), CX
	VBROADCASTSD ·top(SB), Y8

overloop:
	VMOVUPD (SI), Y0
	VMULPD  (DX), Y0, Y0
	VMINPD  Y8, Y0, Y0
	VMOVUPD Y0, (DI)
	ADDQ    $32, DI
	ADDQ    $32, SI
	ADDQ    $32, DX
	SUBQ    $4, CX
	JNZ     overloop
	VZEROUPPER
	RET

// func lowAVX(a, b *float64, n int)
TEXT ·lowAVX(SB), NOSPLIT, $0-24
	MOVQ a+0(FP), DI
	MOVQ b+8(FP), SI
	MOVQ n+16(FP), CX

lowloop:
	VMOVUPD (SI), Y0
	VMINPD  (DI), Y0, Y0
	VMOVUPD Y0, (DI)
	ADDQ    $32, DI
	ADDQ    $32, SI
	SUBQ    $4, CX
	JNZ     lowloop
	VZEROUPPER
	RET
