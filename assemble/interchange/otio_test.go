package interchange

import (
	"bytes"
	"encoding/json"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// otioFields are the fields that objects of each schema have, from the
// serialized schema of OpenTimelineIO (from memory, but for the names and
// versions of the schemas and the fields that carry times and files).
var otioFields = map[string][]string{
	"RationalTime.1": {"rate", "value"},
	"TimeRange.1":    {"start_time", "duration"},
	"Timeline.1":     {"metadata", "name", "global_start_time", "tracks"},
	"Stack.1":        {"metadata", "name", "source_range", "effects", "markers", "enabled", "children"},
	"Track.1":        {"metadata", "name", "source_range", "effects", "markers", "enabled", "children", "kind"},
	"Gap.1":          {"metadata", "name", "source_range", "effects", "markers", "enabled"},
	"Clip.2": {"metadata", "name", "source_range", "effects", "markers", "enabled", "media_references",
		"active_media_reference_key"},
	"ExternalReference.1": {"metadata", "name", "available_range", "available_image_bounds", "target_url"},
	"LinearTimeWarp.1":    {"metadata", "name", "effect_name", "time_scalar"},
	"Marker.2":            {"metadata", "name", "color", "comment", "marked_range"},
}

// checkSchemas finds objects that are not what the format knows: no schema, an
// unknown one, a field too many or too few, a rate that is none.
func checkSchemas(t *testing.T, path string, v any) {
	t.Helper()
	switch x := v.(type) {
	case []any:
		for _, e := range x {
			checkSchemas(t, path, e)
		}
	case map[string]any:
		schema, _ := x["OTIO_SCHEMA"].(string)
		fields, known := otioFields[schema]
		if !known {
			t.Fatalf("%s: schema %q", path, schema)
		}
		for _, f := range fields {
			if _, ok := x[f]; !ok {
				t.Errorf("%s: a %s without %s", path, schema, f)
			}
		}
		if rate, ok := x["rate"].(float64); schema == "RationalTime.1" && (!ok || rate <= 0) {
			t.Errorf("%s: rate %v", path, x["rate"])
		}
		for f, e := range x {
			switch {
			case f == "OTIO_SCHEMA" || f == "metadata":
			case f == "media_references": // objects by name
				for key, ref := range e.(map[string]any) {
					checkSchemas(t, path+"."+key, ref)
				}
			case !slices.Contains(fields, f):
				t.Errorf("%s: a %s with %s", path, schema, f)
			default:
				checkSchemas(t, path+"."+f, e)
			}
		}
	}
}

func seconds(v any) float64 {
	x := v.(map[string]any)
	return x["value"].(float64) / x["rate"].(float64)
}

func decodeOTIO(t *testing.T, tl Timeline) map[string]any {
	t.Helper()
	data, err := OTIO(tl)
	if err != nil {
		t.Fatal(err)
	}
	again, err := OTIO(tl)
	if err != nil || !bytes.Equal(data, again) {
		t.Fatal("two files of one timeline differ", err)
	}
	var file map[string]any
	if err := json.Unmarshal(data, &file); err != nil {
		t.Fatal(err)
	}
	checkSchemas(t, "timeline", file)
	return file
}

// TestOTIO reads written timelines back and adds their times up: gaps and clip
// fill the film, the clip begins where the recording lies, and is played from
// a part of the file that exists.
func TestOTIO(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 5))
	warped, gaps := 0, 0
	for range 400 {
		tl, m, from, to := someTimeline(r)
		c, ok := tl.Cut(m, from, to)
		if !ok {
			continue
		}
		tl.Tracks = []Track{{Name: "oboe video", Kind: Video, Clip: c}, {Name: "oboe audio", Kind: Audio, Clip: c}}
		tl.Marks = []Mark{{Name: "m1", Frame: c.From, Guide: 1.5, Colour: White}}
		file := decodeOTIO(t, tl)
		if got := seconds(file["global_start_time"]); math.Abs(got-3600) > 3.7 { // labels at 23.976 run slow
			t.Fatalf("begins at %g s", got)
		}
		fps := tl.Rate.FPS()
		stack := file["tracks"].(map[string]any)
		if got := seconds(stack["markers"].([]any)[0].(map[string]any)["marked_range"].(map[string]any)["start_time"]); math.Abs(got-float64(c.From)/fps) > 1e-9 {
			t.Fatalf("the mark is at %g", got)
		}
		for i, track := range stack["children"].([]any) {
			if kind := track.(map[string]any)["kind"]; kind != []string{"Video", "Audio"}[i] {
				t.Fatalf("track %d is of kind %v", i, kind)
			}
			at := 0.0
			for _, child := range track.(map[string]any)["children"].([]any) {
				x := child.(map[string]any)
				if x["OTIO_SCHEMA"] == "Gap.1" {
					gaps++
				} else if checkClip(t, tl, m, x, at) != 1 {
					warped++
				}
				at += seconds(x["source_range"].(map[string]any)["duration"])
			}
			if math.Abs(at-float64(tl.Frames)/fps) > 1e-9 {
				t.Fatalf("the track lasts %g, the film %g", at, float64(tl.Frames)/fps)
			}
		}
	}
	if warped < 50 || gaps < 50 {
		t.Fatalf("%d time warps, %d gaps", warped, gaps)
	}
}

// checkClip holds a clip that begins at a second of the timeline against where
// its file lies, and gives its speed.
func checkClip(t *testing.T, tl Timeline, m Media, clip map[string]any, at float64) float64 {
	t.Helper()
	scalar := 1.0
	for _, e := range clip["effects"].([]any) {
		scalar = e.(map[string]any)["time_scalar"].(float64)
	}
	played := clip["source_range"].(map[string]any)
	ref := clip["media_references"].(map[string]any)[clip["active_media_reference_key"].(string)].(map[string]any)
	available := ref["available_range"].(map[string]any)
	first, last := seconds(available["start_time"]), seconds(available["start_time"])+seconds(available["duration"])
	begin, long := seconds(played["start_time"]), seconds(played["duration"])
	if begin < first-1e-12 || begin+long*max(1, scalar) > last+1e-9 {
		t.Fatalf("plays %g to %g of a file from %g to %g", begin, begin+long*max(1, scalar), first, last)
	}
	for _, edge := range []struct{ on, in float64 }{{at, begin}, {at + long, begin + long*scalar}} {
		if guide := m.Clock.Guide(edge.in); math.Abs(guide-(tl.Zero+edge.on)) > 1e-9 {
			t.Fatalf("second %g of the timeline shows guide time %.12f, want %.12f", edge.on, guide, tl.Zero+edge.on)
		}
	}
	return scalar
}

// TestOTIORefuses what no reader could play.
func TestOTIORefuses(t *testing.T) {
	good := Clip{Media: Media{Rate: 25, Last: 4}, From: 0, To: 25, Speed: 1}
	tl := Timeline{Rate: rates[2], Frames: 50, Tracks: []Track{{Kind: Video, Clip: good}}}
	if _, err := OTIO(tl); err != nil {
		t.Fatal(err)
	}
	for _, spoil := range []func(c *Clip){
		func(c *Clip) { c.From = -1 }, func(c *Clip) { c.To = 51 }, func(c *Clip) { c.To = 0 },
		func(c *Clip) { c.Source = -0.01 },
		func(c *Clip) { c.Source = 3.01 }, func(c *Clip) { c.Speed = 0 }, func(c *Clip) { c.Rate = math.NaN() },
		func(c *Clip) { c.Source = math.NaN() }, func(c *Clip) { c.Last = math.Inf(1) },
	} {
		c := good
		spoil(&c)
		tl.Tracks[0].Clip = c
		if _, err := OTIO(tl); err == nil {
			t.Errorf("%+v is written", c)
		}
	}
}
