package media

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
)

// phone is what ffprobe 5.1.9 says about a video as a phone writes it, with
// the entries that Probe asks for.
const phone = `{"programs":[],"streams":[
 {"index":0,"codec_name":"h264","profile":"High","codec_type":"video","width":1920,"height":1080,"sample_aspect_ratio":"1:1",
  "pix_fmt":"yuv420p","color_range":"tv","color_space":"bt709","color_transfer":"bt709","color_primaries":"bt709","field_order":"progressive",
  "r_frame_rate":"30/1","avg_frame_rate":"30000/1001","start_time":"0.000000","duration":"12.345000","nb_frames":"370",
  "disposition":{"attached_pic":0,"still_image":0},"side_data_list":[{"rotation":-90}]},
 {"index":1,"codec_name":"aac","codec_type":"audio","sample_rate":"44100","channels":2,"r_frame_rate":"0/0","avg_frame_rate":"0/0",
  "start_time":"0.012000","duration":"12.300000","disposition":{"attached_pic":0}},
 {"index":2,"codec_type":"data","start_time":"0.000000"}],
 "format":{"format_name":"mov,mp4,m4a,3gp,3g2,mj2","start_time":"0.000000","duration":"12.345000"}}`

func TestParseProbePhone(t *testing.T) {
	i, err := ParseProbe([]byte(phone))
	if err != nil {
		t.Fatal(err)
	}
	v, a := *i.Video, *i.Audio
	wantV := Video{Index: 0, Codec: "h264", Profile: "High", W: 1920, H: 1080, SARNum: 1, SARDen: 1, Rotation: 90,
		FPSNum: 30000, FPSDen: 1001, VFR: false, PixFmt: "yuv420p", Transfer: "bt709", Primaries: "bt709",
		Matrix: "bt709", Range: "tv",
		Duration: 12.345, Frames: 370}
	if v != wantV {
		t.Errorf("video\n got %+v\nwant %+v", v, wantV)
	}
	if want := (Audio{Index: 1, Track: 1, Codec: "aac", Rate: 44100, Channels: 2, Start: 0.012,
		Duration: 12.3}); a != want {
		t.Errorf("audio\n got %+v\nwant %+v", a, want)
	}
	if i.Duration != 12.345 || i.StartTime != 0 || i.Estimated || len(i.Notes) != 0 {
		t.Errorf("got %+v", i)
	}
	if w, h := v.Display(); w != 1080 || h != 1920 {
		t.Errorf("displayed as %d × %d", w, h)
	}
}

// change parses phone with a piece of it replaced.
func change(t *testing.T, pairs ...string) (Info, error) {
	t.Helper()
	s := phone
	for i := 0; i < len(pairs); i += 2 {
		if !strings.Contains(s, pairs[i]) {
			t.Fatalf("%q is not there to be replaced", pairs[i])
		}
		s = strings.Replace(s, pairs[i], pairs[i+1], 1)
	}
	return ParseProbe([]byte(s))
}

func TestParseProbeVideo(t *testing.T) {
	for _, c := range []struct {
		name string
		edit []string
		ok   func(v *Video) bool
	}{
		{"no rotation", []string{`{"rotation":-90}`, `{"side_data_type":"other"}`},
			func(v *Video) bool { return v.Rotation == 0 }},
		{"counter-clockwise", []string{`-90`, `90`}, func(v *Video) bool { return v.Rotation == 270 }},
		{"upside down", []string{`-90`, `-180`}, func(v *Video) bool { return v.Rotation == 180 }},
		{"as a string", []string{`-90`, `"-90"`}, func(v *Video) bool { return v.Rotation == 90 }},
		{"nearly a quarter", []string{`-90`, `-89.6`}, func(v *Video) bool { return v.Rotation == 90 }},
		{"not a number", []string{`-90`, `"nan"`}, func(v *Video) bool { return v.Rotation == 0 }},
		{"a front camera", []string{`{"rotation":-90}`,
			`{"displaymatrix":"\n00000000:       -65536           0           0\n00000001:            0       65536           0\n00000002:      4194304           0  1073741824\n","rotation":-180}`},
			func(v *Video) bool { return v.Mirrored && v.Rotation == 0 }},
		{"upside down", []string{`{"rotation":-90}`,
			`{"displaymatrix":"\n00000000:       -65536           0           0\n00000001:            0      -65536           0\n00000002:      4194304     2359296  1073741824\n","rotation":-180}`},
			func(v *Video) bool { return !v.Mirrored && v.Rotation == 180 }},
		{"turned and over", []string{`{"rotation":-90}`,
			`{"displaymatrix":"\n00000000:            0       65536           0\n00000001:        65536           0           0\n","rotation":-90}`},
			func(v *Video) bool { return v.Mirrored && v.Rotation == 270 }},
		{"no matrix", []string{`{"rotation":-90}`, `{"displaymatrix":"\n00000000: -65536","rotation":-90}`},
			func(v *Video) bool { return !v.Mirrored && v.Rotation == 90 }},
		{"the old tag", []string{`"side_data_list":[{"rotation":-90}]`, `"tags":{"rotate":"90"}`},
			func(v *Video) bool { return v.Rotation == 90 }},
		{"wide pixels", []string{`"1:1"`, `"4:3"`, `-90`, `0`},
			func(v *Video) bool { w, h := v.Display(); return w == 2560 && h == 1080 }},
		{"pixels unknown", []string{`"1:1"`, `"0:1"`}, func(v *Video) bool { return v.SARNum == 1 && v.SARDen == 1 }},
		{"absurd pixels", []string{`"1:1"`, `"1:1000"`}, func(v *Video) bool { return v.SARNum == 1 && v.SARDen == 1 }},
		{"variable", []string{`30000/1001`, `27400/1001`}, func(v *Video) bool { return v.VFR }},
		{"fine grid", []string{`"30/1"`, `"90000/1"`}, func(v *Video) bool { return v.VFR && v.FPSNum == 30000 }},
		{"no average", []string{`30000/1001`, `0/0`}, func(v *Video) bool {
			return v.FPSNum == 30 && v.FPSDen == 1 &&
				!v.VFR
		}},
		{"no rate", []string{`30000/1001`, `0/0`, `"30/1"`, `"x"`}, func(v *Video) bool {
			return v.FPSNum == 0 &&
				v.FPSDen == 1
		}},
		{"interlaced", []string{`progressive`, `tt`}, func(v *Video) bool { return v.Interlaced }},
		{"HLG", []string{`"color_transfer":"bt709"`, `"color_transfer":"arib-std-b67"`},
			func(v *Video) bool { return v.HDR() }},
		{"PQ", []string{`"color_transfer":"bt709"`, `"color_transfer":"smpte2084"`},
			func(v *Video) bool { return v.HDR() }},
		{"not HDR", nil, func(v *Video) bool { return !v.HDR() }},
		{"colour unknown", []string{`"color_range":"tv"`, `"color_range":"unknown"`},
			func(v *Video) bool { return v.Range == "" }},
		{"starts late", []string{`"start_time":"0.000000"`, `"start_time":"0.500000"`},
			func(v *Video) bool { return v.Start == 0.5 }},
		{"starts before zero", []string{`"start_time":"0.000000"`, `"start_time":"-0.500000"`},
			func(v *Video) bool { return v.Start == 0 }},
	} {
		i, err := change(t, c.edit...)
		if err != nil || i.Video == nil || !c.ok(i.Video) {
			t.Errorf("%s: %+v, %v", c.name, i.Video, err)
		}
	}
}

func TestParseProbeStreams(t *testing.T) {
	// A cover picture is no video.
	i, err := change(t, `"attached_pic":0`, `"attached_pic":1`)
	if err != nil || i.Video != nil || i.Audio == nil || len(i.Notes) != 1 {
		t.Errorf("cover: %+v, %v", i, err)
	}
	if faultOf(t, i.NeedVideo()).Hint == "" || i.NeedAudio() != nil {
		t.Error("the missing picture is not told")
	}
	// Sound in a codec of the future is left out, and told.
	i, err = change(t, `"codec_name":"aac",`, ``)
	if err != nil || i.Audio != nil || len(i.Notes) != 1 || i.NeedAudio() == nil || i.NeedVideo() != nil {
		t.Errorf("unknown codec: %+v, %v", i, err)
	}
	// The first of two sound tracks that has a known codec.
	second := `{"index":5,"codec_name":"pcm_s16le","codec_type":"audio","sample_rate":"8000","channels":1}`
	i, err = change(t, `{"index":2,`, second+`,{"index":2,`)
	if err != nil || i.Audio.Index != 1 || len(i.Notes) != 1 {
		t.Errorf("two: %+v, %v", i, err)
	}
	i, err = change(t, `{"index":2,`, second+`,{"index":2,`, `"codec_name":"aac",`, `"codec_name":"unknown",`)
	if err != nil || i.Audio.Index != 5 || i.Audio.Rate != 8000 {
		t.Errorf("second of two: %+v, %v", i, err)
	}
	// A container that does not start at 0: transport streams.
	i, err = change(t, `"start_time":"0.012000"`, `"start_time":"1.500000"`, `12.345000"}}`, `12.345000"}}`,
		`"start_time":"0.000000","duration":"12.345000"}}`, `"start_time":"1.400000","duration":"12.345000"}}`)
	if err != nil || i.StartTime != 1.4 || math.Abs(i.Audio.Start-0.1) > 1e-9 || i.Video.Start != 0 {
		t.Errorf("shifted: %+v %+v, %v", i, i.Audio, err)
	}
	// Matroska tells the end of a stream in a tag.
	i, err = change(t, `"duration":"12.300000",`, `"tags":{"DURATION":"00:01:02.500000000"},`,
		`"start_time":"0.012000"`, `"start_time":"0.500000"`)
	if err != nil || i.Audio.Duration != 62 {
		t.Errorf("tag: %+v, %v", i.Audio, err)
	}
}

func TestParseProbeRefuses(t *testing.T) {
	for _, c := range []struct {
		name string
		edit []string
		want error
	}{
		{"too large", []string{`"width":1920`, `"width":16000`, `"height":1080`, `"height":16000`}, errHugePicture},
		{"no size", []string{`"width":1920`, `"width":0`}, errHugePicture},
		{"size that overflows", []string{`"width":1920`, `"width":4294967297`}, errHugePicture},
		{"many channels", []string{`"channels":2`, `"channels":16`}, errChannels},
		{"no rate", []string{`"44100"`, `"0"`}, errRate},
		{"absurd rate", []string{`"44100"`, `"2000000000"`}, errRate},
		{"nothing to use", []string{`"video"`, `"data"`, `"audio"`, `"data"`}, errNoStreams},
	} {
		_, err := change(t, c.edit...)
		if !errors.Is(err, c.want) || hintFor(err) == "" {
			t.Errorf("%s: got %v, want %v", c.name, err, c.want)
		}
	}
	if _, err := ParseProbe([]byte("{")); err == nil {
		t.Error("half an answer was accepted")
	}
}

func TestParsePackets(t *testing.T) {
	ends := parsePackets(
		"0,0.000000,0.033000\n1,0.5,0.02\n0,0.066,0.033\n0,0.033,0.033\n1,N/A,N/A\nx,1,1\n2\n3,7.5\n3,8.0,N/A\n")
	for index, want := range map[int]float64{0: 0.099, 1: 0.52, 3: 8} {
		if math.Abs(ends[index]-want) > 1e-9 {
			t.Errorf("stream %d ends at %g, want %g", index, ends[index], want)
		}
	}
	if len(ends) != 3 {
		t.Errorf("got %v", ends)
	}
}

func FuzzParseProbe(f *testing.F) {
	f.Add([]byte(phone))
	f.Add([]byte(`{"streams":[{"codec_type":"audio","codec_name":"x","sample_rate":48000,"channels":"1","start_time":"nan","duration":1e308}]}`))
	f.Add([]byte(`{"streams":[{"codec_type":"video","codec_name":"x","width":"7680","height":4320,"sample_aspect_ratio":"2147483647:2147483647","side_data_list":[{"rotation":1e300}],"avg_frame_rate":"2147483647/1"}]}`))
	f.Add([]byte(`{"format":{"start_time":"-1e9"},"streams":[{"codec_type":"audio","codec_name":"x","sample_rate":1,"channels":1,"tags":{"DURATION":"65535:65535:1e9"}}]}`))
	f.Fuzz(func(t *testing.T, out []byte) {
		i, err := ParseProbe(out)
		if err != nil {
			return
		}
		good := func(v float64) bool { return !math.IsNaN(v) && math.Abs(v) < 1e10 }
		if !good(i.Duration) || i.Duration < 0 || !good(i.StartTime) || i.Video == nil && i.Audio == nil {
			t.Fatalf("%+v", i)
		}
		if v := i.Video; v != nil {
			w, h := v.Display()
			if w < 1 || h < 1 || w > 4*MaxPixels || v.W*v.H > MaxPixels || v.Rotation%90 != 0 || v.Rotation < 0 ||
				v.Rotation > 270 ||
				v.FPSDen < 1 || v.FPSNum < 0 || v.FPSNum > maxFPS*v.FPSDen || !good(v.Start) || v.Start < 0 ||
				!good(v.Duration) {
				t.Fatalf("%+v, displayed as %d × %d", v, w, h)
			}
		}
		if a := i.Audio; a != nil {
			if a.Rate < 1 || a.Rate > MaxRate || a.Channels < 1 || a.Channels > MaxChannels || !good(a.Start) ||
				a.Start < 0 || !good(a.Duration) {
				t.Fatalf("%+v", a)
			}
		}
	})
}

// film is ffprobe's answer for a film as it has to be.
const film = `{"streams":[
 {"codec_name":"h264","codec_tag_string":"avc1","profile":"High","codec_type":"video","width":320,"height":180,"sample_aspect_ratio":"1:1","pix_fmt":"yuv420p",
  "color_range":"tv","color_space":"bt709","color_transfer":"bt709","color_primaries":"bt709","field_order":"progressive",
  "r_frame_rate":"30000/1001","avg_frame_rate":"30000/1001","start_time":"0.000000","duration":"3.003000","nb_read_packets":"90"},
 {"codec_name":"aac","codec_type":"audio","sample_rate":"48000","channels":2,"start_time":"0.000000","duration":"3.003000","nb_read_packets":"142"}],
 "format":{"format_name":"mov,mp4,m4a,3gp,3g2,mj2","duration":"3.003000"}}`

func TestCheckFilm(t *testing.T) {
	want := Want{W: 320, H: 180, Frames: 90, FPSNum: 30000, FPSDen: 1001, AudioSamples: 144144, AudioRate: 48000,
		Channels: 2, Codec: "h264"}
	check := func(answer string, want Want) deviations {
		var wrong deviations
		if _, err := checkFilm(&wrong, []byte(answer), want); err != nil {
			t.Fatal(err)
		}
		return wrong
	}
	if wrong := check(film, want); wrong.err() != nil {
		t.Fatalf("a good film: %v", wrong.err())
	}
	for _, c := range []struct{ old, new, says string }{
		{`mov,mp4,m4a,3gp,3g2,mj2`, `matroska,webm`, "container"},
		{`"h264"`, `"hevc"`, "codec"},
		{`"High"`, `"Constrained Baseline"`, "profile"},
		{`"avc1"`, `"avc3"`, "name in the file is avc3, not avc1"},
		{`"width":320`, `"width":322`, "size is 322x180"},
		{`"1:1"`, `"4:3"`, "not square"},
		{`yuv420p`, `yuvj420p`, "pixel format"},
		{`"tv"`, `"pc"`, "range"},
		{`"color_space":"bt709"`, `"color_space":"unknown"`, "matrix"},
		{`"color_transfer":"bt709"`, `"color_transfer":"arib-std-b67"`, "transfer"},
		{`"color_primaries":"bt709"`, `"color_primaries":"bt2020"`, "primaries"},
		{`progressive`, `tt`, "interlaced"},
		{`"r_frame_rate":"30000/1001"`, `"r_frame_rate":"30/1"`, "frame rate is 30/1"},
		{`"avg_frame_rate":"30000/1001"`, `"avg_frame_rate":"2970/100"`, "frame rate is 2970/100"},
		{`"nb_read_packets":"90"`, `"nb_read_packets":"89"`, "frames is 89"},
		{`"nb_read_packets":"90"`, `"nb_read_packets":"90","side_data_list":[{"rotation":0}]`, "display matrix"},
		{`"start_time":"0.000000"`, `"start_time":"0.033367"`, "picture starts"},
		{`"aac"`, `"mp3"`, "sound's codec"},
		{`"48000"`, `"44100"`, "sample rate"},
		{`"channels":2`, `"channels":1`, "channels is 1"},
		{`"channels":2,"start_time":"0.000000"`, `"channels":2,"start_time":"0.021000"`, "sound starts"},
		{`"duration":"3.003000","nb_read_packets":"142"`, `"duration":"2.990000","nb_read_packets":"142"`,
			"sound is said to last"},
		{`"codec_type":"audio"`, `"codec_type":"data"`, "type \"data\""},
		{`"codec_type":"video"`, `"codec_type":"subtitle"`, "pictures is 0"},
	} {
		if !strings.Contains(film, c.old) {
			t.Fatalf("%q is not there to be replaced", c.old)
		}
		wrong := check(strings.Replace(film, c.old, c.new, 1), want)
		if !strings.Contains(fmt.Sprint(wrong.err()), c.says) {
			t.Errorf("%s: got %v, want words about %q", c.new, wrong.err(), c.says)
		}
	}
	silent := want
	silent.AudioSamples = 0
	if wrong := check(film, silent); len(wrong) == 0 {
		t.Error("sound where none is wanted passed")
	}
	// Every codec has a profile and a name of its own, and none passes for another.
	others := map[string][3]string{"h264": {"h264", "avc1", "High"}, "hevc": {"hevc", "hvc1", "Main"},
		"av1": {"av1", "av01", "Main"}}
	for got, words := range others {
		answer := strings.NewReplacer(`"h264"`, `"`+words[0]+`"`, "avc1", words[1], "High", words[2]).Replace(film)
		for asked := range others {
			want.Codec = asked
			if wrong := check(answer, want); (wrong.err() == nil) != (asked == got) {
				t.Errorf("%s where %s was asked for: %v", got, asked, wrong.err())
			}
		}
		want.Codec = got
		for _, bad := range []string{strings.Replace(answer, words[1], "hev1", 1),
			strings.Replace(answer, `"`+words[2]+`"`, `"Main 10"`, 1)} {
			if wrong := check(bad, want); len(wrong) != 1 {
				t.Errorf("%s with another name or profile: %v", got, wrong.err())
			}
		}
	}
}

func TestComplaints(t *testing.T) {
	for _, c := range []struct {
		log       string
		errors    int
		truncated bool
	}{
		{"", 0, false},
		{"[warning] Guessed Channel Layout\n", 0, false},
		{"[mov @ 0x1] [error] stream 0, offset 0x99e8: partial file\n", 0, true},
		{"[matroska,webm @ 0x1] [error] File ended prematurely at pos. 30000\n", 1, true},
		{"[aac @ 0x1] [error] channel element 1.0 is not allocated\n[aac @ 0x1] [error] x\n", 2, false},
		// One packet in two lines, twice, and one in the second line alone.
		{"[NULL @ 0x1] [error] Invalid NAL unit size (2147483647 > 9).\n[NULL @ 0x1] [error] missing picture in " +
			"access unit with size 13\n" +
			"[NULL @ 0x1] [error] Invalid NAL unit size (99 > 8).\n[NULL @ 0x1] [error] missing picture in access " +
			"unit with size 12\n" +
			"[NULL @ 0x1] [error] missing picture in access unit with size 13\n", 3, false},
	} {
		for _, cut := range []int{0, len(c.log) / 2} {
			var said complaints
			said.Write([]byte(c.log[:cut]))
			said.Write([]byte(c.log[cut:]))
			if said.errors != c.errors || said.truncated != c.truncated {
				t.Errorf("%q: %d errors, truncated %v", c.log, said.errors, said.truncated)
			}
		}
	}
}
