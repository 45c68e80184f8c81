package assemble

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"ripieno/assemble/fault"
	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/graph"
	"ripieno/assemble/picture"
	"ripieno/assemble/plan"
	"ripieno/layout"
	"ripieno/layout/shot"
)

// needEncoders skips a test where ffmpeg has no encoder for HEVC or AV1, which
// is no fault of the program.
func needEncoders(t *testing.T, tool *ffmpeg.Tool) {
	t.Helper()
	if err := tool.Require("libx265", "libsvtav1"); err != nil {
		if os.Getenv("CI") != "" {
			t.Fatal(err)
		}
		t.Skip(err)
	}
}

// TestFilmInEveryCodec measures films of two segments in HEVC and AV1 as the
// usual film is measured: every frame decodes and shows the right picture, across
// the join too, and sound and chapters are as ever.
func TestFilmInEveryCodec(t *testing.T) {
	t.Parallel()
	tool := findTool(t)
	needEncoders(t, tool)
	dir := t.TempDir()
	takes := cast()[:2]
	for _, p := range takes {
		p.write(t, tool, dir)
	}
	text := strings.Replace(manifestOf(takes, ""), "deliver: [{name: final, canvas: 640x360}]", `deliver:
  - {name: hevc, canvas: 320x180, codec: hevc, poster: m2}
  - {name: av1, canvas: 320x180, codec: av1, poster: m2}
shots: [{from: start, show: tutti}, {from: m2, show: tutti}]
chapters: [{at: m2, name: Second}]`, 1)
	p := openTest(t, dir, text)
	r, err := p.Render(t.Context(), RenderOptions{})
	if err != nil {
		t.Fatal(err)
	}
	grid, err := p.Grid(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for i, encoder := range []string{"libx265", "libsvtav1"} {
		film := r.Films[i]
		if string(film.Codec) != film.Name || film.Encoder != encoder {
			t.Errorf("%s is said to be %s by %s", film.Name, film.Codec, film.Encoder)
		}
		f := decodeFilm(t, tool, film.Output, 320, 180)
		if len(f.frames) != filmLen {
			t.Fatalf("%s: %d frames decoded, want %d", film.Name, len(f.frames), filmLen)
		}
		for k, take := range takes {
			checkTile(t, f, grid.Shots[0].Tiles[k], take)
			checkClicks(t, f, take)
		}
		checkBackground(t, f, grid.Shots[0].Tiles)
		if st, err := os.Stat(film.Poster); err != nil || st.Size() == 0 {
			t.Errorf("%s: no poster: %v", film.Name, err)
		}
	}
}

// codecProduction returns the folder of a production with films in all codecs, which
// tool has, made of a card, a grid, a solo and a dissolve between them:
// everything that could make the heads of segments differ.
func codecProduction(t *testing.T) (tool *ffmpeg.Tool, dir string) {
	t.Helper()
	tool, dir = findTool(t), t.TempDir()
	needEncoders(t, tool)
	smallProduction(t, dir)
	path := filepath.Join(dir, "production.yaml")
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	text := strings.Replace(string(data), "deliver: [{name: final, canvas: 64x36}]",
		"deliver: [{name: final, canvas: 128x72}, {name: small, canvas: 128x72, codec: hevc}, {name: open, canvas: "+
			"128x72, codec: av1}]", 1)
	text = strings.Replace(text, "show: solo, take: horn}",
		"show: solo, take: horn, transition: {kind: dissolve, seconds: 0.2}}", 1)
	if !strings.Contains(text, "codec: av1") || !strings.Contains(text, "dissolve") {
		t.Fatalf("the production was not changed:\n%s", text)
	}
	if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
	return tool, dir
}

// Same inputs, same bytes, in every codec, with one worker and with eight. (For H.264
// TestKilled shows the same.)
func TestEveryCodecGivesTheSameBytes(t *testing.T) {
	t.Parallel()
	_, one := codecProduction(t)
	eight := copyProduction(t, one)
	render := func(dir string, workers int) RenderResult {
		p := openWith(t, Settings{Dir: dir, Workers: workers})
		defer p.Close()
		r, err := p.Render(t.Context(), RenderOptions{Only: []string{"small", "open"}})
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	a, b := render(one, 1), render(eight, 8)
	if len(a.Films) != 2 || len(b.Films) != 2 {
		t.Fatalf("%d and %d films", len(a.Films), len(b.Films))
	}
	for i := range a.Films {
		x, errX := os.ReadFile(a.Films[i].Output)
		y, errY := os.ReadFile(b.Films[i].Output)
		if errX != nil || errY != nil || !bytes.Equal(x, y) {
			t.Errorf("%s by %s differs with the number of workers (%v, %v)", a.Films[i].Name, a.Films[i].Encoder, errX,
				errY)
		}
	}
}

// Only films of another codec have a coding in their keys: those of H.264 are
// found under the keys they have always had, whatever encoder is asked for.
func TestKeysOfOtherCodecs(t *testing.T) {
	t.Parallel()
	_, dir := codecProduction(t)
	keys := func(set Settings) map[string][]string {
		set.Dir, set.Report = dir, listener{func(string) {}}
		p := openWith(t, set)
		defer p.Close()
		found := map[string][]string{}
		for _, only := range []string{"final", "small", "open"} {
			planned, err := p.Plan(t.Context(), RenderOptions{Only: []string{only}})
			if err != nil {
				t.Fatal(err)
			}
			for _, x := range planned.Tasks {
				if x.Stage == "compose" {
					found[only] = append(found[only], x.Key)
				}
			}
		}
		return found
	}
	list := keys(Settings{})
	for _, other := range []string{"small", "open"} {
		for i, k := range list[other] {
			if k == list["final"][i] || other == "open" && k == list["small"][i] {
				t.Errorf("segment %d of %s has the key of another codec", i, other)
			}
		}
	}
	if got := keys(Settings{Encoder: graph.UseSoftware}); fmt.Sprint(got) != fmt.Sprint(list) {
		t.Errorf("the default is not software: %v, %v", got, list)
	}
}

// fakeFFmpeg returns an ffmpeg whose list has hardware: of nvenc, which never works,
// and of qsv, which is libx265 in another quality every time. Everything else is
// done by the real one.
func fakeFFmpeg(t *testing.T, tool *ffmpeg.Tool) string {
	t.Helper()
	dir := t.TempDir()
	path := filepath.Join(dir, "ffmpeg")
	script := fmt.Sprintf(`#!/bin/sh
real=%q
dir=%q
case "$*" in
*-encoders*)
	"$real" "$@"
	for e in h264_nvenc hevc_nvenc hevc_qsv; do echo " V....D $e made up"; done
	exit;;
*hevc_nvenc*|*h264_nvenc*)
	echo "[nvenc @ 0x5581] [error] Cannot load libcuda.so.1" >&2
	echo "[error] Error initializing output stream" >&2
	exit 1;;
*hevc_qsv*) ;;
*) exec "$real" "$@";;
esac
echo >> "$dir/uses"
crf=$((20 + $(wc -l < "$dir/uses") %% 10))
n=$#
while [ $n -gt 0 ]; do
	a=$1; shift; n=$((n-1))
	case "$a" in
	hevc_qsv) set -- "$@" libx265 -crf $crf -x265-params open-gop=0:info=0:log-level=none;;
	-global_quality) shift; n=$((n-1));;
	*) set -- "$@" "$a";;
	esac
done
exec "$real" "$@"
`, tool.FFmpeg, dir)
	if err := os.WriteFile(path, []byte(script), 0o777); err != nil {
		t.Fatal(err)
	}
	return path
}

// Hardware is used when it works, is named in the result, and is not held to
// bytes that it never gives twice.
func TestHardwareThatWorks(t *testing.T) {
	t.Parallel()
	tool, dir := codecProduction(t)
	set := Settings{Dir: dir, Encoder: graph.UseHardware, Programs: ffmpeg.Options{FFmpeg: fakeFFmpeg(t, tool)},
		Report: listener{func(string) {}}}
	p := openWith(t, set)
	only := RenderOptions{Only: []string{"small"}}
	r, err := p.Render(t.Context(), only)
	if err != nil {
		t.Fatal(err)
	}
	if r.Films[0].Encoder != "hevc_qsv" || r.Films[0].Codec != "hevc" {
		t.Errorf("%+v", r.Films[0])
	}
	if again, err := p.Render(t.Context(), only); err != nil || again.Tasks.Run != 0 {
		t.Errorf("nothing has changed and %d tasks ran (%v)", again.Tasks.Run, err)
	}
	v, err := p.Verify(t.Context(), only)
	if err != nil || len(v.Different) > 0 || v.Varying < 3 || v.Varying >= v.Tasks {
		t.Errorf("%d of %d vary, %v differ (%v)", v.Varying, v.Tasks, v.Different, err)
	}
	// Its segments are not those of software, nor is anything taken for them.
	p.Close()
	set.Encoder = graph.UseSoftware
	p = openWith(t, set)
	if soft, err := p.Render(t.Context(), only); err != nil || soft.Films[0].Encoder != "libx265" ||
		soft.Tasks.Run < 4 {
		t.Errorf("software after hardware: %+v (%v)", soft, err)
	}
}

// Where hardware does not work it is said what was tried, and software takes
// over only when it was asked to.
func TestHardwareThatDoesNotWork(t *testing.T) {
	t.Parallel()
	tool, dir := codecProduction(t)
	fake := fakeFFmpeg(t, tool)
	for _, c := range []struct {
		setting, film, encoder string // "" where it is a fault
		says                   []string
	}{
		{"nvenc", "small", "", []string{"no hardware (nvenc) that encodes HEVC works here",
			"tried hevc_nvenc: Cannot load libcuda.so.1"}},
		{"hardware", "final", "", []string{"no hardware that encodes H.264 works here",
			"h264_nvenc: Cannot load libcuda.so.1; h264_qsv: ", "h264_videotoolbox: not in this ffmpeg"}},
		{"videotoolbox", "open", "", []string{"(videotoolbox) that encodes AV1", "there is no such encoder"}},
		{"auto", "open", "libsvtav1", []string{"no hardware encodes AV1 here, so libsvtav1 does it in software " +
			"(av1_nvenc: not in this ffmpeg; "}},
		{"auto", "small", "hevc_qsv", nil},
		{"qsv", "small", "hevc_qsv", nil},
		{"software", "small", "libx265", nil},
	} {
		if c.setting == "hardware" && works(t, tool, "h264") {
			t.Log("there is hardware here that works")
			continue
		}
		var said strings.Builder
		p := openWith(t, Settings{Dir: dir, Encoder: c.setting, Programs: ffmpeg.Options{FFmpeg: fake},
			Report: listener{func(s string) { said.WriteString(s) }}})
		wants, codings, err := wantedFilms(t.Context(), p, RenderOptions{Only: []string{c.film}})
		p.Close()
		if c.encoder == "" {
			if fault.KindOf(err) != fault.FFmpeg ||
				!strings.HasPrefix(err.Error(), filepath.Join(dir, "production.yaml")+":") {
				t.Errorf("%s: %v", c.setting, err)
			}
			said.WriteString(fmt.Sprint(err))
		} else if got := codings.Of(plan.Film{Codec: wants[0].Codec, Canvas: wants[0].Canvas}); err != nil ||
			got.Name() != c.encoder || got.Hardware() != (got.Headers != "") {
			t.Errorf("%s: %+v (%v)", c.setting, got, err)
		}
		for _, words := range c.says {
			if !strings.Contains(said.String(), words) {
				t.Errorf("%s says %q, want %q", c.setting, said.String(), words)
			}
		}
		if c.says == nil && said.Len() > 0 {
			t.Errorf("%s says %q", c.setting, said.String())
		}
	}
	if _, err := Open(t.Context(), Settings{Dir: dir, Encoder: "gpu",
		Report: listener{func(string) {}}}); fault.KindOf(err) != fault.Manifest {
		t.Errorf("an encoder that there is not: %v", err)
	}
}

// works reports whether real hardware encodes a codec on this machine.
func works(t *testing.T, tool *ffmpeg.Tool, codec plan.Codec) bool {
	t.Helper()
	_, err := picture.Picker{Tool: tool, Choice: graph.UseHardware, Rate: shot.Rate{Num: 30, Den: 1}}.Pick(t.Context(),
		[]plan.Want{{Codec: codec, Canvas: layout.Canvas{W: 640, H: 360}}})
	return err == nil
}
