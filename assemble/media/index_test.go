package media

import (
	"bytes"
	"encoding/binary"
	"testing"
)

// words returns numbers of 32 bits.
func words(n ...uint32) (b []byte) {
	for _, v := range n {
		b = binary.BigEndian.AppendUint32(b, v)
	}
	return b
}

// movie returns a file of one track with such a sample table and data reference.
func movie(kind string, reference []byte, tables ...[]byte) []byte {
	return edited(nil, kind, reference, tables...)
}

// edited returns a movie with more boxes in its track.
func edited(more []byte, kind string, reference []byte, tables ...[]byte) []byte {
	handler := box("hdlr", append(words(0, 0), []byte(kind)...)...)
	data := box("dinf", box("dref", append(words(0, 1), reference...)...)...)
	media := box("minf", append(data, box("stbl", bytes.Join(tables, nil)...)...)...)
	times := box("mdhd", words(0, 0, 0, 1000, 0, 0)...)
	track := box("trak", append(more, box("mdia", bytes.Join([][]byte{times, handler, media}, nil)...)...)...)
	return append(box("ftyp", []byte("isom")...), box("moov", track...)...)
}

var itself = box("url ", words(1)...)

func TestJudgeIndex(t *testing.T) {
	sized := box("stsz", words(0, 1, 200_000_000)...)
	loose := box("stsz", words(0, 0, 85_000_000)...)
	single := box("stts", words(0, 1, 200_000_000, 1)...)
	fragment := func(n uint32) []byte { return box("moof", box("traf", box("trun", words(0, n)...)...)...) }
	for _, c := range []struct {
		name string
		data []byte
		bad  bool
	}{
		{"a little", movie("vide", itself, box("stsz", words(0, 0, 1000)...)), false},
		{"as much as there may be", movie("vide", itself, box("stsz", words(0, 0, maxIndex)...)), false},
		{"more", movie("vide", itself, box("stsz", words(0, 0, maxIndex+1)...)), true},
		{"sizes that are not there", movie("vide", itself, loose), true},
		{"an hour of PCM", movie("soun", itself, sized, single), false},
		{"packets of one size", movie("soun", itself, sized, box("stts", words(0, 1, 200_000_000, 1024)...)), true},
		{"two tracks", append(movie("vide", itself, box("stsz", words(0, 0, 3_000_000)...)),
			movie("soun", itself, box("stsz", words(0, 0, 3_000_000)...))...), true},
		{"a fragment", append(movie("vide", itself), fragment(1000)...), false},
		{"a fragment of nothing", append(movie("vide", itself), fragment(0xffffffff)...), true},
		{"many fragments", append(movie("vide", itself), bytes.Repeat(fragment(1_000_000), 5)...), true},
		{"another file", movie("vide", box("alis", append(words(0), "elsewhere.mov"...)...)), true},
		{"an alias of itself", movie("vide", box("alis", append(words(1), "this.mov"...)...)), false},
		{"an address", movie("vide", box("url ", append(words(0), "x"...)...)), false}, // ffmpeg does not follow it
		{"no reference", movie("vide", nil), false},
		{"cut", movie("vide", itself, loose)[:60], false},
	} {
		r := bytes.NewReader(c.data)
		what, hint := judgeIndex(r, readAtoms(r, int64(len(c.data))))
		if (what != "") != c.bad || (what == "") != (hint == "") {
			t.Errorf("%s: %q, %q", c.name, what, hint)
		}
	}
}

// FuzzIndex reads indexes that claim anything: nothing panics, and memory
// follows the file and not its claims.
func FuzzIndex(f *testing.F) {
	f.Add(movie("vide", itself, box("stsz", words(0, 4, 2_000_000)...), box("stts", words(0, 1, 2_000_000, 512)...)))
	f.Add(movie("soun", itself, box("stsz", words(0, 0, 0xffffffff)...)))
	f.Add(append(movie("vide", itself), box("moof", box("traf", box("trun", words(0, 0xffffffff)...)...)...)...))
	edits := box("edts", box("elst", append(words(0, 2), words(10, 0xffffffff, 1<<16, 10, 0, 1<<16)...)...)...)
	whole := edited(edits, "vide", itself, box("stsz", words(0, 0, 2, 1, 1)...), box("stts", words(0, 1, 2, 512)...),
		box("stss", words(0, 1, 1)...), box("ctts", words(0, 1, 2, 0)...))
	if keys, err := readKeys(bytes.NewReader(whole), int64(len(whole)), 0); err != nil || len(keys.list) != 1 {
		f.Fatalf("the seed with an edit list: %+v, %v", keys, err)
	}
	f.Add(whole)
	f.Add(edited(box("edts", box("elst", words(0, 0xffffffff)...)...), "vide", itself,
		box("stsz", words(0, 4, 2_000_000)...),
		box("stts", words(0, 1, 2_000_000, 512)...), box("stss", words(0, 0xffffffff, 1)...),
		box("ctts", words(0, 0xfffffff0, 2)...)))
	f.Fuzz(func(t *testing.T, data []byte) {
		r := bytes.NewReader(data)
		list := readAtoms(r, r.Size())
		if len(list) > len(data)/8 {
			t.Errorf("%d boxes in %d bytes", len(list), len(data))
		}
		judgeIndex(r, list)
		judgeAtoms(list, r.Size())
		countSamples(r, r.Size())
		for stream := range 3 {
			keys, err := readKeys(r, r.Size(), stream)
			if err == nil && len(keys.list) > maxSamples {
				t.Errorf("%d key frames", len(keys.list))
			}
		}
	})
}
