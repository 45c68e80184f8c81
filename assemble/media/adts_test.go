package media

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"
)

// bareFrame returns a frame of AAC of so many channels that holds some bytes: ISO/IEC
// 13818-7, 6.2, without a check sum, 48 kHz.
func bareFrame(channels int, body string) []byte {
	n := adtsHead + len(body)
	return append([]byte{0xff, 0xf1, 1<<6 | 3<<2, byte(channels)<<6 | byte(n>>11), byte(n >> 3), byte(n&7)<<5 | 0x1f,
		0xfc}, body...)
}

// Frames are found by their heads, and those that are wanted come back as they were.
func TestFramesOfBareAAC(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a.aac")
	frames := [][]byte{bareFrame(2, "one"), bareFrame(2, ""), bareFrame(2, string(bytes.Repeat([]byte("x"), 3000)))}
	if err := os.WriteFile(path, bytes.Join(frames, nil), 0o600); err != nil {
		t.Fatal(err)
	}
	a, err := IndexADTS(path)
	if err != nil || a.Frames() != 3 || a.Channels != 2 {
		t.Fatalf("%d frames of %d channels, %v", a.Frames(), a.Channels, err)
	}
	for _, c := range []struct{ from, to int }{{0, 3}, {1, 2}, {2, 3}, {1, 1}, {0, 0}, {3, 3}} {
		got, err := a.Append([]byte("before"), c.from, c.to)
		if want := append([]byte("before"), bytes.Join(frames[c.from:c.to], nil)...); err != nil ||
			!bytes.Equal(got, want) {
			t.Errorf("frames %d to %d are %q, %v", c.from, c.to, got, err)
		}
	}
	for _, c := range []struct{ from, to int }{{-1, 1}, {0, 4}, {2, 1}} {
		if _, err := a.Append(nil, c.from, c.to); err == nil {
			t.Errorf("there are frames %d to %d", c.from, c.to)
		}
	}
	if err := os.Truncate(path, 12); err != nil {
		t.Fatal(err)
	}
	if _, err := a.Append(nil, 0, 3); err == nil {
		t.Error("a file that became shorter is read")
	}
}

// What is no bare AAC, or ends within a frame, is refused, and an empty file too.
func TestWhatIsNoBareAAC(t *testing.T) {
	whole := bareFrame(1, "whole")
	for name, data := range map[string][]byte{"nothing": nil, "text": []byte("version: 1\n"), "a head alone": whole[:7],
		"a cut head": append(bytes.Clone(whole), whole[:3]...), "a cut frame": append(bytes.Clone(whole), whole[:9]...),
		"a frame shorter than its head": {0xff, 0xf1, 0x4c, 0x40, 0, 0x60, 0xfc}} {
		path := filepath.Join(t.TempDir(), "a.aac")
		if err := os.WriteFile(path, data, 0o600); err != nil {
			t.Fatal(err)
		}
		if a, err := IndexADTS(path); err == nil {
			t.Errorf("%s has %d frames", name, a.Frames())
		}
	}
}
