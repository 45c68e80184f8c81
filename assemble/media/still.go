package media

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"image"
	"image/draw"
	"image/jpeg"
	"image/png"
)

// DecodeStill decodes a PNG or JPEG file held in memory, upright as the camera
// that took it says. It is made for files from strangers: what would be larger
// than MaxPixels is refused before a pixel is decoded.
func DecodeStill(data []byte) (image.Image, error) {
	var head func() (image.Config, error)
	var whole func() (image.Image, error)
	turned := 1
	switch {
	case bytes.HasPrefix(data, []byte("\x89PNG\r\n\x1a\n")):
		head = func() (image.Config, error) { return png.DecodeConfig(bytes.NewReader(data)) }
		whole = func() (image.Image, error) { return png.Decode(bytes.NewReader(data)) }
	case bytes.HasPrefix(data, []byte("\xff\xd8\xff")):
		head = func() (image.Config, error) { return jpeg.DecodeConfig(bytes.NewReader(data)) }
		whole = func() (image.Image, error) { return jpeg.Decode(bytes.NewReader(data)) }
		turned = orientation(data)
	default:
		return nil, errors.New("it is neither a PNG nor a JPEG picture")
	}
	c, err := head()
	switch {
	case err != nil:
		return nil, fmt.Errorf("its beginning is damaged (%w)", err)
	case c.Width < 1 || c.Height < 1:
		return nil, errors.New("it has no pixels")
	case int64(c.Width)*int64(c.Height) > MaxPixels:
		return nil, fmt.Errorf("%d by %d pixels are absurdly many, at most %d are accepted", c.Width, c.Height,
			MaxPixels)
	}
	img, err := whole()
	if err != nil {
		return nil, fmt.Errorf("it is damaged (%w)", err)
	}
	return upright(img, turned), nil
}

// orientation returns the value of the Exif tag of that name in a JPEG file (Exif
// 2.32, tag 0x0112): 1 to 8, where 1 is upright and also what a file without
// the tag, or with a damaged one, is taken for.
func orientation(data []byte) int {
	for at := 2; at+4 <= len(data) && data[at] == 0xff; {
		marker, length := data[at+1], int(binary.BigEndian.Uint16(data[at+2:]))
		if marker == 0xda || length < 2 || at+2+length > len(data) { // the picture itself, or nonsense
			return 1
		}
		if body, ok := bytes.CutPrefix(data[at+4:at+2+length], []byte("Exif\x00\x00")); ok && marker == 0xe1 {
			return exifOrientation(body)
		}
		at += 2 + length
	}
	return 1
}

// exifOrientation looks through the first directory of a TIFF structure (TIFF
// 6.0, section 2).
func exifOrientation(b []byte) int {
	if len(b) < 8 {
		return 1
	}
	var order binary.ByteOrder = binary.LittleEndian
	if string(b[:2]) == "MM" {
		order = binary.BigEndian
	} else if string(b[:2]) != "II" {
		return 1
	}
	at := uint64(order.Uint32(b[4:]))
	if at+2 > uint64(len(b)) {
		return 1
	}
	const entry, tag, short = 12, 0x0112, 3
	for i := range uint64(order.Uint16(b[at:])) {
		e := at + 2 + entry*i
		if e+entry > uint64(len(b)) {
			return 1
		}
		if order.Uint16(b[e:]) == tag && order.Uint16(b[e+2:]) == short {
			if v := int(order.Uint16(b[e+8:])); v >= 1 && v <= 8 {
				return v
			}
			return 1
		}
	}
	return 1
}

// upright returns img as it is seen, when it is stored turned or mirrored: turned is the
// orientation of EXIF, 1 to 8, of which 5 to 8 exchange width and height.
func upright(img image.Image, turned int) image.Image {
	if turned == 1 {
		return img
	}
	r := img.Bounds()
	src := image.NewRGBA(image.Rect(0, 0, r.Dx(), r.Dy()))
	draw.Draw(src, src.Rect, img, r.Min, draw.Src)
	w, h := r.Dx(), r.Dy()
	if turned >= 5 {
		w, h = h, w
	}
	dst := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			sx, sy := x, y
			if turned >= 5 { // stored on its side
				sx, sy = y, x
			}
			// Which of the stored sides run backwards, by the tag's table.
			if turned == 2 || turned == 3 || turned == 7 || turned == 8 {
				sx = src.Rect.Dx() - 1 - sx
			}
			if turned == 3 || turned == 4 || turned == 6 || turned == 7 {
				sy = src.Rect.Dy() - 1 - sy
			}
			copy(dst.Pix[dst.PixOffset(x, y):][:4], src.Pix[src.PixOffset(sx, sy):][:4])
		}
	}
	return dst
}
