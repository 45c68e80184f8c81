package media

import (
	"image"
	"image/png"
	"os"
)

// WritePNG writes a drawing to a new file. It fails when the file is there.
func WritePNG(path string, img image.Image, level png.CompressionLevel) error {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o666)
	if err != nil {
		return err
	}
	enc := png.Encoder{CompressionLevel: level}
	if err := enc.Encode(f, img); err != nil {
		f.Close()
		return err
	}
	return f.Close()
}

// ReadPNG reads a picture that [WritePNG] or a tool wrote.
func ReadPNG(path string) (image.Image, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return png.Decode(f)
}
