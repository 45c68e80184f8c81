package media

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"strings"
	"testing"
)

// corners returns a picture whose quarters are red, green, blue and white in
// reading order, as seen upright.
func corners(w, h int) *image.RGBA {
	m := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			c := [4]color.RGBA{{220, 30, 30, 255}, {30, 200, 30, 255}, {30, 30, 220, 255},
				{250, 250, 250, 255}}[2*(2*y/h)+2*x/w]
			m.SetRGBA(x, y, c)
		}
	}
	return m
}

// exif puts an orientation behind the first marker of a JPEG file.
func exif(t *testing.T, file []byte, order binary.AppendByteOrder, mark string, value uint16) []byte {
	t.Helper()
	body := append([]byte("Exif\x00\x00"+mark), order.AppendUint16(nil, 42)...)
	body = order.AppendUint32(body, 8)
	body = order.AppendUint16(body, 2)
	for _, e := range [][2]uint16{{0x0100, 7}, {0x0112, value}} {
		body = order.AppendUint16(order.AppendUint16(body, e[0]), 3)
		body = order.AppendUint16(order.AppendUint16(order.AppendUint32(body, 1), e[1]), 0)
	}
	out := append([]byte{}, file[:2]...)
	out = binary.BigEndian.AppendUint16(append(out, 0xff, 0xe1), uint16(len(body)+2))
	return append(append(out, body...), file[2:]...)
}

// TestStillIsUpright stores a picture in each of the eight ways of Exif 2.32
// ("orientation": where row 0 and column 0 of what is stored belong) and
// expects it back upright.
func TestStillIsUpright(t *testing.T) {
	const w, h = 48, 32
	seen := corners(w, h)
	// For each value, the upright pixel that stands at x, y of what is stored.
	stored := map[uint16]func(x, y int) (int, int){
		1: func(x, y int) (int, int) { return x, y },
		2: func(x, y int) (int, int) { return w - 1 - x, y },         // row 0 top, column 0 right
		3: func(x, y int) (int, int) { return w - 1 - x, h - 1 - y }, // bottom, right
		4: func(x, y int) (int, int) { return x, h - 1 - y },         // bottom, left
		5: func(x, y int) (int, int) { return y, x },                 // left, top
		6: func(x, y int) (int, int) { return w - 1 - y, x },         // right, top
		7: func(x, y int) (int, int) { return w - 1 - y, h - 1 - x }, // right, bottom
		8: func(x, y int) (int, int) { return y, h - 1 - x },         // left, bottom
	}
	for value, from := range stored {
		sw, sh := w, h
		if value >= 5 {
			sw, sh = h, w
		}
		m := image.NewRGBA(image.Rect(0, 0, sw, sh))
		for y := range sh {
			for x := range sw {
				m.Set(x, y, seen.At(from(x, y)))
			}
		}
		var buf bytes.Buffer
		if err := jpeg.Encode(&buf, m, &jpeg.Options{Quality: 95}); err != nil {
			t.Fatal(err)
		}
		for mark, order := range map[string]binary.AppendByteOrder{"II": binary.LittleEndian, "MM": binary.BigEndian} {
			got, err := DecodeStill(exif(t, buf.Bytes(), order, mark, value))
			if err != nil {
				t.Fatal(err)
			}
			if got.Bounds().Dx() != w || got.Bounds().Dy() != h {
				t.Errorf("orientation %d: %v", value, got.Bounds())
				continue
			}
			for _, at := range [][2]int{{8, 8}, {40, 8}, {8, 24}, {40, 24}} {
				r, g, b, _ := got.At(at[0], at[1]).RGBA()
				want := seen.RGBAAt(at[0], at[1])
				for i, d := range []int{int(r>>8) - int(want.R), int(g>>8) - int(want.G), int(b>>8) - int(want.B)} {
					if max(d, -d) > 12 {
						t.Errorf("orientation %d, %s: channel %d at %v is %d off", value, mark, i, at, d)
					}
				}
			}
		}
	}
}

func TestStillRefuses(t *testing.T) {
	var good, photo bytes.Buffer
	if err := png.Encode(&good, corners(20, 10)); err != nil {
		t.Fatal(err)
	}
	if err := jpeg.Encode(&photo, corners(64, 64), nil); err != nil {
		t.Fatal(err)
	}
	huge := bytes.Clone(good.Bytes())
	binary.BigEndian.PutUint32(huge[16:], 60000)
	binary.BigEndian.PutUint32(huge[20:], 60000)
	binary.BigEndian.PutUint32(huge[29:], crc32.ChecksumIEEE(huge[12:29]))
	for name, tt := range map[string]struct {
		data []byte
		want string
	}{
		"nothing":    {nil, "neither a PNG nor a JPEG"},
		"text":       {[]byte("dear all"), "neither a PNG nor a JPEG"},
		"a GIF":      {[]byte("GIF89a\x01\x00\x01\x00"), "neither a PNG nor a JPEG"},
		"a bomb":     {huge, "60000 by 60000 pixels are absurdly many"},
		"cut":        {good.Bytes()[:50], "damaged"},
		"only begun": {good.Bytes()[:12], "its beginning is damaged"},
		"cut photo":  {photo.Bytes()[:photo.Len()/2], "damaged"},
	} {
		if _, err := DecodeStill(tt.data); err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s: %v, want %s", name, err, tt.want)
		}
	}
	if _, err := DecodeStill(good.Bytes()); err != nil {
		t.Error(err)
	}
}

// FuzzStill: no file ends the program.
func FuzzStill(f *testing.F) {
	var a, b bytes.Buffer
	png.Encode(&a, corners(8, 8))
	jpeg.Encode(&b, corners(8, 8), nil)
	f.Add(a.Bytes())
	f.Add(b.Bytes())
	f.Add([]byte("\xff\xd8\xff\xe1\x00\x20Exif\x00\x00MM\x00*\x00\x00\x00\x08\xff\xff\x01\x12"))
	f.Fuzz(func(t *testing.T, data []byte) {
		if img, err := DecodeStill(data); err == nil && img.Bounds().Empty() {
			t.Error("a picture without pixels")
		}
	})
}
