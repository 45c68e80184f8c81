package media

import (
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
)

// hintFor says what to ask for after a refusal by ParseProbe.
func hintFor(err error) string {
	switch {
	case errors.Is(err, errChannels):
		return "ask for a stereo mix of it"
	case errors.Is(err, errTrack):
		return "correct track: of this file, or leave it out for the best"
	case errors.Is(err, errNoStreams):
		return "ask the player for a new export as MP4 or WAV"
	}
	return "ask the player for a new export"
}

// number takes a JSON value that ffprobe writes as a number in one release and
// as a string in the next.
type number string

// UnmarshalJSON keeps the text of a number or string and drops anything else.
func (n *number) UnmarshalJSON(b []byte) error {
	var s string
	if err := json.Unmarshal(b, &s); err == nil {
		*n = number(s)
		return nil
	}
	var f json.Number
	if err := json.Unmarshal(b, &f); err == nil {
		*n = number(f)
	}
	return nil
}

// seconds returns the number as seconds, 0 when it is none.
func (n number) seconds() float64 {
	f, ok := seconds(string(n))
	if !ok {
		return 0
	}
	return f
}

// int returns a whole number of at least 0, and 0 for anything else.
func (n number) int() int {
	i, err := strconv.ParseInt(string(n), 10, 32)
	if err != nil || i < 0 {
		return 0
	}
	return int(i)
}

// probeAnswer is what ffprobe says of a file in JSON. Numbers that a file does not state
// are missing, "N/A" or in quotes, hence their own type.
type probeAnswer struct {
	Format struct {
		Name     string `json:"format_name"`
		Start    number `json:"start_time"`
		Duration number `json:"duration"`
	} `json:"format"`
	Streams []probeStream `json:"streams"`
}

// probeStream is one stream of the answer, in ffprobe's words; what it means for us is
// decided where it is read.
type probeStream struct {
	Index       int            `json:"index"`
	Type        string         `json:"codec_type"`
	Codec       string         `json:"codec_name"`
	Profile     string         `json:"profile"`
	Width       number         `json:"width"`
	Height      number         `json:"height"`
	SAR         string         `json:"sample_aspect_ratio"`
	AvgRate     string         `json:"avg_frame_rate"`
	BaseRate    string         `json:"r_frame_rate"`
	Frames      number         `json:"nb_frames"`
	PixFmt      string         `json:"pix_fmt"`
	Range       string         `json:"color_range"`
	Matrix      string         `json:"color_space"`
	Transfer    string         `json:"color_transfer"`
	Primaries   string         `json:"color_primaries"`
	Field       string         `json:"field_order"`
	Start       number         `json:"start_time"`
	Duration    number         `json:"duration"`
	SampleRate  number         `json:"sample_rate"`
	Channels    number         `json:"channels"`
	Disposition map[string]int `json:"disposition"`
	Tags        struct {
		Rotate   number `json:"rotate"`
		Duration string `json:"DURATION"`
	} `json:"tags"`
	SideData []struct {
		Rotation *number `json:"rotation"`
		Matrix   string  `json:"displaymatrix"`
	} `json:"side_data_list"`
}

// ParseProbe reads what ffprobe prints with -of json about one file: its
// format and streams, in any release from 4.4 on. It looks at nothing else, so
// Path stays empty. All numbers of the result are finite and within the
// limits; an error means that the file is beyond them, has no usable stream,
// or that the text is not JSON.
func ParseProbe(out []byte) (Info, error) { return parseProbe(out, 0) }

// parseProbe returns ParseProbe with the number of the sound track to be used, from
// 1; 0 is the first, unless another is clearly better.
func parseProbe(out []byte, track int) (Info, error) {
	var p probeAnswer
	if err := json.Unmarshal(out, &p); err != nil {
		return Info{}, fmt.Errorf("the description by ffprobe cannot be read: %w", err)
	}
	info := Info{
		Format:    p.Format.Name,
		StartTime: p.Format.Start.seconds(),
		Duration:  max(0, p.Format.Duration.seconds()),
		// Raw MP3 and AAC streams have no index (an MP3 may have one, but
		// ffprobe does not say so here).
		Estimated: p.Format.Name == "mp3" || p.Format.Name == "aac",
	}
	pictures, sounds := 0, 0
	var refused error // of the sound tracks that cannot be used
	for _, s := range p.Streams {
		switch {
		case s.Type == "video" && s.still():
			info.Notes = append(info.Notes, "a cover picture is left out")
		case (s.Type == "video" || s.Type == "audio") && (s.Codec == "" || s.Codec == "unknown"):
			info.Notes = append(info.Notes, fmt.Sprintf("a %s stream of unknown kind is left out", s.Type))
		case s.Type == "video":
			if pictures++; pictures > 1 {
				continue
			}
			v, err := s.video(info.StartTime)
			if err != nil {
				return Info{}, err
			}
			info.Video = v
		case s.Type == "audio":
			sounds++
			a, err := s.audio(info.StartTime)
			if err != nil {
				refused = cmp.Or(refused, err) // of the first
				continue
			}
			a.Track = sounds
			if track == sounds || track == 0 && (info.Audio == nil || better(a, info.Audio)) {
				info.Audio = a
			}
		}
	}
	if pictures > 1 {
		info.Notes = append(info.Notes, fmt.Sprintf("of %d pictures the first is used", pictures))
	}
	if err := info.chosenSound(track, sounds, refused); err != nil {
		return Info{}, err
	}
	if info.Video == nil && info.Audio == nil {
		return Info{}, errNoStreams
	}
	return info, nil
}

// chosenSound says in i's notes which of several sound tracks is used. It is an
// error when the one that was asked for is not there, or none can be used
// because of refused.
func (i *Info) chosenSound(track, sounds int, refused error) error {
	switch {
	case i.Audio == nil && refused != nil:
		return refused
	case track > sounds || track > 0 && i.Audio == nil:
		return fmt.Errorf("%w: it has %d", errTrack, sounds)
	case sounds > 1 && i.Audio.Track == 1:
		i.Notes = append(i.Notes, fmt.Sprintf("of %d sound tracks the first is used", sounds))
	case sounds > 1:
		i.Notes = append(i.Notes, fmt.Sprintf("of %d sound tracks number %d is used; track: chooses another", sounds,
			i.Audio.Track))
	}
	return nil
}

// still reports whether a video stream is one picture: an album cover or a
// thumbnail track.
func (s probeStream) still() bool {
	return s.Disposition["attached_pic"] != 0 || s.Disposition["still_image"] != 0 ||
		s.Disposition["timed_thumbnails"] != 0
}

// length returns the stream's own duration in seconds, 0 when it does not say.
// Matroska writes it as a tag, "00:01:02.500000000".
func (s probeStream) length() float64 {
	if d := s.Duration.seconds(); d > 0 {
		return d
	}
	f := strings.Split(s.Tags.Duration, ":")
	if len(f) != 3 {
		return 0
	}
	h, errH := strconv.ParseUint(f[0], 10, 16)
	m, errM := strconv.ParseUint(f[1], 10, 16)
	sec, ok := seconds(f[2])
	if errH != nil || errM != nil || !ok || sec < 0 {
		return 0
	}
	// The tag counts to the stream's end from the container's zero.
	return max(0, float64(h)*3600+float64(m)*60+sec-max(0, s.Start.seconds()))
}

// video returns the stream as a Video; zero is the container's start time.
func (s probeStream) video(zero float64) (*Video, error) {
	v := &Video{
		Index: s.Index, Codec: s.Codec, Profile: s.Profile,
		W: s.Width.int(), H: s.Height.int(),
		PixFmt: known(s.PixFmt), Range: known(s.Range), Matrix: known(s.Matrix),
		Transfer: known(s.Transfer), Primaries: known(s.Primaries),
		Duration: s.length(), Frames: int64(s.Frames.int()),
	}
	v.SARNum, v.SARDen = pixelShape(s.SAR)
	v.Rotation = s.rotation()
	if v.Mirrored = s.isMirrored(); v.Mirrored {
		v.Rotation = (v.Rotation + 180) % 360 // ffprobe's goes by where the left edge's neighbour lies
	}
	if err := sidesFault(v); err != nil {
		return nil, err
	}
	v.FPSNum, v.FPSDen, v.VFR = frameRate(s.AvgRate, s.BaseRate)
	switch s.Field {
	case "tt", "bb", "tb", "bt":
		v.Interlaced = true
	}
	v.Start = startAfter(s.Start, zero)
	return v, nil
}

// audio returns the stream as an Audio.
func (s probeStream) audio(zero float64) (*Audio, error) {
	a := &Audio{Index: s.Index, Codec: s.Codec, Rate: s.SampleRate.int(), Channels: s.Channels.int(),
		Duration: s.length()}
	switch {
	case a.Channels > MaxChannels:
		return nil, errChannels
	case a.Rate > MaxRate || a.Rate == 0 || a.Channels == 0:
		return nil, errRate
	}
	a.Start = startAfter(s.Start, zero)
	return a, nil
}

// startAfter returns a stream's start after the file's time zero. A stream cannot
// start before it except for samples that a decoder drops.
func startAfter(start number, zero float64) float64 {
	f, ok := seconds(string(start))
	if !ok {
		return 0
	}
	return max(0, f-zero)
}

// known returns s without the words ffprobe uses for "not said".
func known(s string) string {
	if s == "unknown" || s == "unspecified" || s == "reserved" {
		return ""
	}
	return s
}

// pixelShape reads "4:3". Shapes beyond 4:1 either way are no camera's but a
// damaged header's, and count as square.
func pixelShape(s string) (num, den int) {
	num, den, ok := fraction(s, ":")
	if !ok || num > 4*den || den > 4*num {
		return 1, 1
	}
	return num, den
}

// rotation returns the clockwise turn in whole quarters. Side data counts
// counter-clockwise, the tag of old files clockwise.
func (s probeStream) rotation() int {
	turn := s.Tags.Rotate.seconds()
	for _, d := range s.SideData {
		if d.Rotation != nil {
			turn = -d.Rotation.seconds()
		}
	}
	quarters := int(math.Round(math.Mod(turn, 360)/90)) + 4
	return quarters % 4 * 90
}

// isMirrored reports whether the display matrix changes left and right. ffprobe
// prints its rows as 16.16 numbers: "00000000: a b u", "00000001: c d v".
func (s probeStream) isMirrored() bool {
	for _, d := range s.SideData {
		var at int
		var m [2][3]int32
		_, err := fmt.Sscanf(strings.TrimSpace(d.Matrix), "%d: %d %d %d\n%d: %d %d %d",
			&at, &m[0][0], &m[0][1], &m[0][2], &at, &m[1][0], &m[1][1], &m[1][2])
		if err == nil {
			return int64(m[0][0])*int64(m[1][1]) < int64(m[0][1])*int64(m[1][0])
		}
	}
	return false
}

// maxFPS is above every camera's slow motion.
const maxFPS = 1000

// frameRate returns the average rate, or the base rate when there is no average,
// and whether the two disagree by more than a thousandth: the base rate is the
// finest grid all time stamps fall on, so with steady frames it is the rate.
func frameRate(avg, base string) (num, den int, varies bool) {
	n, d, ok := fraction(avg, "/")
	bn, bd, bok := fraction(base, "/")
	good := func(n, d int) bool { return n <= maxFPS*d }
	ok, bok = ok && good(n, d), bok && good(bn, bd)
	switch {
	case ok && bok:
		a, b := float64(n)/float64(d), float64(bn)/float64(bd)
		return n, d, math.Abs(a-b) > 1e-3*b
	case ok:
		return n, d, true // the grid is finer than any rate
	case bok:
		return bn, bd, false
	}
	return 0, 1, false
}

// fraction reads two positive numbers.
func fraction(s, separator string) (num, den int, ok bool) {
	a, b, found := strings.Cut(s, separator)
	n, errN := strconv.ParseInt(a, 10, 32)
	d, errD := strconv.ParseInt(b, 10, 32)
	if !found || errN != nil || errD != nil || n <= 0 || d <= 0 {
		return 0, 0, false
	}
	return int(n), int(d), true
}
