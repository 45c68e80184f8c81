package media

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"os"
	"unicode/utf8"

	"ripieno/assemble/fault"
	"ripieno/assemble/held"
)

// sniffLen is how much of a file's head is looked at.
const sniffLen = 4096

// sniffed is what the first look at a file tells.
type sniffed struct {
	truncated  bool
	fragmented bool // an MP4 whose index lies in many pieces
	notes      []string
}

// sniff looks at the file's bytes before ffmpeg does, because ffmpeg goes by
// content: text with the right first line is a playlist that opens other
// files, whatever its name. ffmpeg's own whitelists stay the wall; this look
// exists for the message.
func sniff(ctx context.Context, path string) (sniffed, error) {
	refuse := func(what, hint string) (sniffed, error) {
		return sniffed{}, fault.New(fault.Media, showPath(path), what, hint)
	}
	f, err := held.Open(ctx, path)
	if err != nil {
		return sniffed{}, openFault(path, err)
	}
	defer f.Close()
	st, err := f.Stat()
	if err != nil {
		return sniffed{}, openFault(path, err)
	}
	switch {
	case st.IsDir():
		return refuse("this is a folder, not a file", "name the recording inside it")
	case !st.Mode().IsRegular():
		return refuse("this is not a regular file", "copy the recording itself into the production's folder")
	case st.Size() == 0:
		return refuse("the file is empty (0 bytes)",
			"the upload or download did not finish: ask the player to send it again")
	}
	// Whatever the file is called: names come from strangers as well.
	head := make([]byte, min(sniffLen, st.Size()))
	if _, err := io.ReadFull(f, head); err != nil {
		return sniffed{}, openFault(path, err)
	}
	if what, hint := looksLike(head); what != "" {
		return refuse(what, hint)
	}
	var s sniffed
	if isMP4(head) {
		list := readAtoms(f, st.Size())
		what, hint, short := judgeAtoms(list, st.Size())
		if what == "" {
			what, hint = judgeIndex(f, list)
		}
		if what != "" {
			return refuse(what, hint)
		}
		_, s.fragmented = find(list, "moof")
		// A recording that only lost its end is worth more than none; it goes on, and says so.
		if s.truncated = short; short {
			s.notes = append(s.notes, "the file ends before its index says: only its first part came")
		}
	}
	return s, nil
}

// openFault returns the fault of a file that could not be opened, by what the
// system says.
func openFault(path string, err error) error {
	switch {
	case os.IsNotExist(err):
		return fault.New(fault.Media, showPath(path), "the file does not exist", "")
	case os.IsPermission(err):
		return fault.New(fault.Media, showPath(path), "the file may not be read", "change its permissions")
	}
	return fault.New(fault.Media, showPath(path), "the file cannot be read", "").Because(pathless{err, path})
}

// isMP4 tells whether head begins like an MP4 or QuickTime file.
func isMP4(head []byte) bool {
	if len(head) < 8 {
		return false
	}
	switch string(head[4:8]) {
	case "ftyp", "moov", "mdat", "wide", "free", "skip", "pnot":
		return true
	}
	return false
}

// judgeAtoms says why an MP4 with these top-level boxes cannot be used, or
// whether it is shorter than it claims.
func judgeAtoms(list []atom, have int64) (what, hint string, short bool) {
	// Other boxes that reach beyond the file are junk behind a whole one.
	beyond := false
	for _, a := range list {
		beyond = beyond || a.end() > have && (a.kind == "mdat" || a.kind == "moov" || a.kind == "moof")
	}
	index, ok := find(list, "moov")
	switch {
	case (!ok || index.end() > have) && beyond:
		last := list[len(list)-1]
		return fmt.Sprintf("only the first %s of %s came, without the index", size(have), size(last.end())),
			"the upload or copy broke off: ask the player to send the file again", false
	case !ok:
		return "the recording did not finish: its index (moov) is missing",
			"ask the player for a new export; if the recorder crashed, the take has to be recorded again", false
	}
	return "", "", beyond
}

// size returns a number of bytes for people.
func size(n int64) string {
	switch {
	case n < 1e4:
		return fmt.Sprintf("%d bytes", n)
	case n < 1e6:
		return fmt.Sprintf("%.0f KB", float64(n)/1e3)
	}
	return fmt.Sprintf("%.1f MB", float64(n)/1e6)
}

// signatures are files that players send by mistake, by their first bytes.
var signatures = []struct {
	magic, what, hint string
}{
	{"PK\x03\x04", "this is a zip archive, not a recording", "unpack it and use the file inside"},
	{"Rar!\x1a\x07", "this is a rar archive, not a recording", "unpack it and use the file inside"},
	{"7z\xbc\xaf\x27\x1c", "this is a 7z archive, not a recording", "unpack it and use the file inside"},
	{"\x1f\x8b", "this is a compressed archive, not a recording", "unpack it and use the file inside"},
	{"%PDF-", "this is a PDF document, not a recording", "ask the player for the recording"},
	{"\x89PNG\r\n", "this is a picture, not a recording", "ask the player for the video"},
	{"\xff\xd8\xff", "this is a picture, not a recording", "ask the player for the video"},
	{"GIF8", "this is a picture, not a recording", "ask the player for the video"},
	{"MThd", "this is a MIDI file: notes, not a recording", "ask the player for the sound"},
	{"bplist", "this is a saved link, not a recording", "open the link and download the recording itself"},
	{"\x00\x05\x16\x07", "this is a helper file that macOS puts beside the real one",
		"use the file of the same name without \"._\" in front"},
}

// looksLike recognises what is certainly no recording.
func looksLike(head []byte) (what, hint string) {
	for _, s := range signatures {
		if bytes.HasPrefix(head, []byte(s.magic)) {
			return s.what, s.hint
		}
	}
	if len(head) >= 12 && string(head[4:8]) == "ftyp" {
		switch string(head[8:12]) {
		case "heic", "heix", "mif1", "msf1", "avif":
			return "this is a picture, not a recording", "ask the player for the video"
		}
	}
	if len(bytes.Trim(head, "\x00")) == 0 {
		return "the file holds only zeros", "the download or cloud synchronisation did not finish: fetch it again"
	}
	if !isText(head) {
		return "", ""
	}
	text := bytes.ToLower(bytes.TrimLeft(bytes.TrimPrefix(head, []byte("\xef\xbb\xbf")), " \t\r\n"))
	switch {
	case bytes.HasPrefix(text, []byte("#extm3u")), bytes.HasPrefix(text, []byte("ffconcat")), bytes.Contains(text,
		[]byte("<mpd")):
		return "this is a playlist that points to other files, not a " +
			"recording", "ask the player for the recording itself"
	case bytes.HasPrefix(text, []byte("<!doctype html")), bytes.HasPrefix(text, []byte("<html")):
		return "this is a web page, not a " +
			"recording", "the page of a share link was saved: open it and download the recording itself"
	}
	return "this is text, not a recording", "ask the player for the recording itself"
}

// isText reports whether head holds nothing but UTF-8 text: no recording's
// header gets by without zero bytes or other control characters.
func isText(head []byte) bool {
	for _, c := range head {
		if c < 0x20 && c != '\t' && c != '\n' && c != '\r' && c != '\f' && c != 0x1b || c == 0x7f {
			return false
		}
	}
	// The last character may have been cut in two.
	for cut := range min(utf8.UTFMax, len(head)) {
		if utf8.Valid(head[:len(head)-cut]) {
			return true
		}
	}
	return false
}
