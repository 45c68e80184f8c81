package ffmpeg

import (
	"strconv"
	"strings"
)

// Version is the release of an ffmpeg.
type Version struct {
	Major, Minor int    // 5, 1; 0, 0 when it cannot be told
	Text         string // as printed, such as "5.1.9-0+deb12u1"; "" when it is no ffmpeg
}

// AtLeast reports whether v is major.minor or later.
func (v Version) AtLeast(major, minor int) bool {
	return v.Major > major || v.Major == major && v.Minor >= minor
}

// libavcodecOffset is what libavcodec's major version is ahead of the
// release's: 58 came with 4, 59 with 5, 60 with 6, 61 with 7 (release notes of
// ffmpeg, from memory).
const libavcodecOffset = 54

// ParseVersion reads what "ffmpeg -version" or "ffprobe -version" prints.
// Builds from the development branch carry no release number; they are given
// the release their libavcodec belongs to, with minor 0. Output of another
// program gives the zero Version.
func ParseVersion(out string) Version {
	first, rest, _ := strings.Cut(out, "\n")
	words := strings.Fields(first)
	if len(words) < 3 || words[1] != "version" || words[0] != "ffmpeg" && words[0] != "ffprobe" {
		return Version{}
	}
	v := Version{Text: words[2]}
	// Releases read "5.1.9-0+deb12u1", "n6.0" or "7.1".
	number := strings.TrimPrefix(v.Text, "n")
	major, more, dotted := strings.Cut(number, ".")
	if m, err := strconv.Atoi(major); err == nil && m > 0 && m < 1000 {
		if dotted {
			end := strings.IndexFunc(more, func(r rune) bool { return r < '0' || r > '9' })
			if end < 0 {
				end = len(more)
			}
			v.Minor, _ = strconv.Atoi(more[:end])
		}
		v.Major = m
		return v
	}
	// "N-109468-gd39b34123d" and dated builds: "libavcodec     61. 19.101 / ..."
	for line := range strings.Lines(rest) {
		if lib, ok := strings.CutPrefix(line, "libavcodec"); ok {
			major, _, _ := strings.Cut(lib, ".")
			if m, err := strconv.Atoi(strings.TrimSpace(major)); err == nil && m > libavcodecOffset {
				v.Major = m - libavcodecOffset
			}
			break
		}
	}
	return v
}

// parseList reads the table that -encoders or -filters prints: flags, a name
// and a description a line, after a legend. Legend lines have "=" as their
// second word.
func parseList(out string) map[string]bool {
	names := map[string]bool{}
	for line := range strings.Lines(out) {
		if words := strings.Fields(line); len(words) >= 3 && words[1] != "=" {
			names[words[1]] = true
		}
	}
	return names
}
