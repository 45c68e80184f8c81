package media

import (
	"errors"
	"fmt"
	"io"
	"os"
)

// DecoderConfig returns what the first picture of an MP4 file tells a decoder in
// advance: the content of its avcC, hvcC or av1C box. Runs of frames can be
// joined without encoding when theirs are the same, because a film has one.
func DecoderConfig(path string) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	st, err := f.Stat()
	if err != nil {
		return nil, err
	}
	conf, err := decoderConfig(f, st.Size())
	if err != nil {
		return nil, fmt.Errorf("media: what %s tells a decoder: %w", showPath(path), err)
	}
	return conf, nil
}

// Where boxes begin in a sample description: ISO/IEC 14496-12, 8.5.2 (stsd:
// version, flags and the number of entries) and 12.1.3 (a visual entry: its own
// header and 78 bytes).
const (
	descriptionHead = 8
	visualHead      = 78
)

// maxConfig is far above what encoders write, which is under 200 bytes.
const maxConfig = 1 << 16

// decoderConfig finds the box in a file of size bytes.
func decoderConfig(r io.ReaderAt, size int64) ([]byte, error) {
	track, err := pictureTrack(r, size)
	if err != nil {
		return nil, err
	}
	table, err := follow(r, track, "mdia", "minf", "stbl", "stsd")
	if err != nil {
		return nil, err
	}
	entries := insideFrom(r, table, descriptionHead)
	if len(entries) == 0 {
		return nil, errors.New("the picture is not described")
	}
	for _, a := range insideFrom(r, entries[0], visualHead) {
		if a.kind != "avcC" && a.kind != "hvcC" && a.kind != "av1C" {
			continue
		}
		if a.size > maxConfig || a.end() > entries[0].end() {
			return nil, fmt.Errorf("the box %q is too long", a.kind)
		}
		conf := make([]byte, a.size-8)
		_, err := r.ReadAt(conf, a.offset+8)
		return conf, err
	}
	return nil, fmt.Errorf("%q is no picture in H.264, HEVC or AV1", entries[0].kind)
}
