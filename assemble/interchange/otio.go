package interchange

import (
	"bytes"
	"encoding/json"
)

// The objects of OpenTimelineIO that are written, with the names and versions
// of their schemas. Marker is written in version 2, which newer readers take as
// well, while older ones refuse a file with a newer version in it.
type (
	otioTime struct {
		Schema string  `json:"OTIO_SCHEMA"` // RationalTime.1
		Rate   float64 `json:"rate"`
		Value  float64 `json:"value"`
	}
	otioRange struct {
		Schema   string   `json:"OTIO_SCHEMA"` // TimeRange.1
		Duration otioTime `json:"duration"`
		Start    otioTime `json:"start_time"`
	}
	otioTimeline struct {
		Schema   string         `json:"OTIO_SCHEMA"` // Timeline.1
		Metadata map[string]any `json:"metadata"`
		Name     string         `json:"name"`
		Start    otioTime       `json:"global_start_time"`
		Tracks   otioStack      `json:"tracks"`
	}
	// otioItem is what all that lies on a timeline has.
	otioItem struct {
		Schema   string         `json:"OTIO_SCHEMA"`
		Metadata map[string]any `json:"metadata"`
		Name     string         `json:"name"`
		Source   *otioRange     `json:"source_range"`
		Effects  []any          `json:"effects"`
		Markers  []otioMarker   `json:"markers"`
		Enabled  bool           `json:"enabled"`
	}
	otioStack struct {
		otioItem             // Stack.1
		Children []otioTrack `json:"children"`
	}
	otioTrack struct {
		otioItem       // Track.1
		Children []any `json:"children"` // Gap.1 is an item without more
		Kind     Kind  `json:"kind"`
	}
	otioClip struct {
		otioItem                           // Clip.2
		References map[string]otioExternal `json:"media_references"`
		Active     string                  `json:"active_media_reference_key"`
	}
	otioExternal struct {
		Schema    string         `json:"OTIO_SCHEMA"` // ExternalReference.1
		Metadata  map[string]any `json:"metadata"`
		Name      string         `json:"name"`
		Available otioRange      `json:"available_range"`
		Bounds    *struct{}      `json:"available_image_bounds"`
		URL       string         `json:"target_url"`
	}
	otioWarp struct {
		Schema   string         `json:"OTIO_SCHEMA"` // LinearTimeWarp.1
		Metadata map[string]any `json:"metadata"`
		Name     string         `json:"name"`
		Effect   string         `json:"effect_name"`
		Scalar   float64        `json:"time_scalar"`
	}
	otioMarker struct {
		Schema   string         `json:"OTIO_SCHEMA"` // Marker.2
		Metadata map[string]any `json:"metadata"`
		Name     string         `json:"name"`
		Colour   string         `json:"color"`
		Comment  string         `json:"comment"`
		Marked   otioRange      `json:"marked_range"`
	}
)

// theMedia is the key of a clip's only reference, the one OpenTimelineIO uses
// itself.
const theMedia = "DEFAULT_MEDIA"

// house is where a file's own remarks stand in metadata.
const house = "ripieno"

// OTIO writes a timeline. Times on it are whole frames of its rate; the beginning of a
// clip in its file is exact, in frames or samples of the file with a fraction. The
// duration of a source range is the clip's on the timeline, as the format has it; how
// much of the file that takes is the time warp's word. Places of marks and the guide
// time of frame 0 stand in metadata without rounding. It fails for a clip that no reader
// could play: outside of its file or of the timeline, or with a NaN.
func OTIO(t Timeline) ([]byte, error) {
	if err := t.check(); err != nil {
		return nil, err
	}
	stack := item("Stack.1", "tracks")
	for _, m := range t.Marks {
		stack.Markers = append(stack.Markers, t.marker(m))
	}
	film := otioTimeline{
		Schema: "Timeline.1", Name: t.Name, Start: t.time(CountingOf(t.Rate).Hour()),
		Metadata: map[string]any{house: map[string]any{"guide_at_zero": t.Zero, "frames": t.Frames}},
		Tracks:   otioStack{otioItem: stack, Children: []otioTrack{}},
	}
	for _, k := range t.Tracks {
		film.Tracks.Children = append(film.Tracks.Children, t.track(k))
	}
	var out bytes.Buffer
	enc := json.NewEncoder(&out)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", "    ")
	err := enc.Encode(film)
	return out.Bytes(), err
}

// item returns what every object on a timeline has, with nothing in it.
func item(schema, name string) otioItem {
	return otioItem{Schema: schema, Name: name, Metadata: map[string]any{}, Effects: []any{}, Markers: []otioMarker{},
		Enabled: true}
}

// time returns a number of frames of the timeline.
func (t Timeline) time(frames int) otioTime { return at(float64(frames), t.Rate.FPS()) }

// at returns a moment as OpenTimelineIO writes it.
func at(value, rate float64) otioTime { return otioTime{"RationalTime.1", rate, value} }

// span returns a range of time as OpenTimelineIO writes it.
func span(start, duration otioTime) otioRange { return otioRange{"TimeRange.1", duration, start} }

// marker returns a mark of the timeline.
func (t Timeline) marker(m Mark) otioMarker {
	return otioMarker{
		Schema: "Marker.2", Name: m.Name, Colour: m.Colour, Comment: m.Remark,
		Marked:   span(t.time(m.Frame), t.time(m.Duration)),
		Metadata: map[string]any{house: map[string]any{"guide": m.Guide}},
	}
}

// track returns a clip between gaps that fill the film.
func (t Timeline) track(k Track) otioTrack {
	out := otioTrack{otioItem: item("Track.1", k.Name), Kind: k.Kind, Children: []any{}}
	gap := func(frames int) {
		if frames > 0 {
			g := item("Gap.1", "")
			whole := span(t.time(0), t.time(frames))
			g.Source = &whole
			out.Children = append(out.Children, g)
		}
	}
	gap(k.Clip.From)
	out.Children = append(out.Children, t.clip(k.Clip))
	gap(t.Frames - k.Clip.To)
	return out
}

// clip returns a recording in its place: which part of the file is played, and at
// what speed where its clock is not the guide's.
func (t Timeline) clip(c Clip) otioClip {
	i := item("Clip.2", c.Name)
	played := span(at(c.Source*c.Rate, c.Rate), t.time(c.To-c.From))
	i.Source = &played
	i.Metadata[house] = map[string]any{"offset": c.Clock.Offset, "drift_ppm": float64(c.Clock.Drift),
		"source_seconds": c.Source}
	if c.Speed != 1 {
		i.Effects = append(i.Effects, otioWarp{"LinearTimeWarp.1", map[string]any{}, "drift of the recorder's clock",
			"LinearTimeWarp", c.Speed})
	}
	return otioClip{otioItem: i, Active: theMedia, References: map[string]otioExternal{theMedia: {
		Schema: "ExternalReference.1", Metadata: map[string]any{}, Name: c.Name, URL: c.URL,
		Available: span(at(c.First*c.Rate, c.Rate), at((c.Last-c.First)*c.Rate, c.Rate)),
	}}}
}
