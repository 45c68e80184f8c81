package picture

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"

	"ripieno/assemble/graph"
	"ripieno/assemble/plan"
	"ripieno/assemble/plan/plantest"
	"ripieno/assemble/task"
	"ripieno/layout"
)

// moving is a film of tutti, a solo that dissolves in and is pushed in to, tutti into which
// tiles glide, and credits, out of black and into it; names come and go.
const moving = `version: 1
title: Test Round
release: yes
tempo: {count_in: {measures: 2}, changes: [{measure: 1, meter: 4/4, bpm: 120}], measures: 8}
takes:
  - {name: oboe, player: Ada, part: Oboe, video: {file: intake/oboe.mp4, offset: 0}}
  - {name: horn, player: Ben, part: Horn, video: {file: intake/horn.mp4, offset: 0}}
  - {name: viola, player: Cy, part: Viola, video: {file: intake/viola.mp4, offset: 0}}
  - {name: drum, player: Dee, part: Drum, audio: {file: intake/drum.wav, offset: 0}}
picture: {fps: 30, aspect: 16:9, lead_in: 1, tail: 1, fade_in: 1, fade_out: 1, labels_for: 2, labels_fade: 0.5}
shots:
  - {from: start, show: tutti}
  - {from: m3, show: solo, take: horn, transition: {kind: dissolve, seconds: 0.5}, push_in: 1.1}
  - {from: m5, show: tutti, transition: {kind: move, seconds: 0.8}}
  - {from: m7, show: card, text: credits}
deliver: [{name: final, canvas: 1280x720}]
`

// compositions returns how every segment of a film is put together.
func compositions(t *testing.T, changes ...string) (plan.Film, plan.Timeline, []composition) {
	t.Helper()
	pl := plantest.Plan(t, moving, true, changes...)
	m := New((&recorder{}).tool(), nil, pl, &Assets{}, nil)
	f := pl.Films[0]
	var conforms []task.Ref[string]
	for _, c := range f.Conforms {
		made, err := m.ConformTask(c)
		if err != nil {
			t.Fatal(err)
		}
		conforms = append(conforms, made)
	}
	backdrop := drawTask(m.backdrop(f))
	var list []composition
	for _, seg := range f.Segments {
		list = append(list, m.composition(f, seg, conforms, backdrop))
	}
	return f, pl.Timeline, list
}

// segments returns what each composition asks of the graph, with names for files.
func segments(list []composition) []graph.Segment {
	var all []graph.Segment
	for _, c := range list {
		all = append(all, c.segment(sources{
			mezzanine: func(k int) string { return fmt.Sprint("conform ", k) },
			band:      func(r task.Ref[string]) string { return "band " + r.Task().ID },
			drawing:   func(r task.Ref[string]) string { return "drawing " + r.Task().ID }, backdrop: "backdrop"}))
	}
	return all
}

// The segments are the whole film, one behind the other; transitions are segments of
// their own, and show both scenes.
func TestSegmentsAreTheFilm(t *testing.T) {
	f, line, list := compositions(t)
	at, into := 0, 0
	for i, g := range segments(list) {
		seg := list[i].seg
		if seg.From != at || g.Frames != seg.Len() || g.Frames < 1 || g.Canvas != (layout.Canvas{W: 1280, H: 720}) {
			t.Fatalf("segment %d: %+v after frame %d", i, seg.Span, at)
		}
		at = seg.To
		if (g.Into != nil) != seg.Into {
			t.Errorf("segment %d: into another scene %v", i, g.Into != nil)
		}
		if seg.Into {
			into++
			if seg.To != f.Shots[seg.Shot].From || g.Frames != f.Shots[seg.Shot].Into.Frames {
				t.Errorf("the transition of shot %d ends at %d", seg.Shot, seg.To)
			}
		}
		if g.Copy.W != 64 || g.Copy.H != 36 {
			t.Errorf("segment %d has copies of %dx%d", i, g.Copy.W, g.Copy.H)
		}
	}
	if at != line.Frames || into != 2 {
		t.Errorf("%d of %d frames, %d transitions", at, line.Frames, into)
	}
}

// Only what lies at the film's ends fades: what happens elsewhere is in no segment's key.
func TestFadesAreOfTheEnds(t *testing.T) {
	_, line, list := compositions(t)
	for i, g := range segments(list) {
		seg := list[i].seg
		in, out := seg.From < 30, seg.To > line.Frames-30
		if (g.Fade.In > 0) != in || (g.Fade.Out > 0) != out {
			t.Errorf("frames %d to %d fade by %+v", seg.From, seg.To, g.Fade)
		}
		if !in && !out && g.Fade != (graph.Fade{}) {
			t.Errorf("frames %d to %d have %+v", seg.From, seg.To, g.Fade)
		}
	}
}

// Names that come or go are drawn by themselves and laid over: no longer than they are
// to be seen, and their fade is counted from its own beginning.
func TestNamesThatComeAndGo(t *testing.T) {
	f, _, list := compositions(t)
	soft := 0
	for i, g := range segments(list) {
		seg := list[i].seg
		if (g.Names.Frames > 0) != (seg.Soft.Frames > 0) {
			t.Errorf("frames %d to %d: names %+v, softly %+v", seg.From, seg.To, g.Names, seg.Soft)
		}
		if g.Names.Frames == 0 {
			continue
		}
		soft++
		if g.Names.Frames != f.Soften || f.Soften != 15 || g.Names.At+g.Frames > g.Names.Frames ||
			g.Names.Path == g.Overlay || !strings.HasPrefix(g.Names.Path, "drawing ") {
			t.Errorf("frames %d to %d: %+v of %d", seg.From, seg.To, g.Names, f.Soften)
		}
	}
	if soft == 0 {
		t.Error("no names come or go")
	}
	for i, g := range segments(second(compositions(t, ", labels_for: 2, labels_fade: 0.5", ""))) {
		if g.Names.Frames > 0 {
			t.Errorf("segment %d: names go that stay", i)
		}
	}
}

// second returns the last of three values.
func second(_ plan.Film, _ plan.Timeline, list []composition) []composition { return list }

// A push-in begins with the transition into its shot and goes on through all segments of
// it: each begins where the one before ends.
func TestPushesGoOn(t *testing.T) {
	f, _, list := compositions(t)
	shot := f.Shots[1]
	at, pushed := -1, 0
	for i, g := range segments(list) {
		seg := list[i].seg
		pieces := g.Pieces
		if seg.Into && seg.Shot == 1 {
			pieces = g.Into.Pieces
		}
		for _, p := range pieces {
			if (p.Push.Zoom > 0) != (seg.Shot == 1 || seg.Into && seg.Shot == 2) {
				t.Errorf("frames %d to %d: %+v", seg.From, seg.To, p.Push)
			}
			if p.Push.Zoom == 0 {
				continue
			}
			pushed++
			if p.Push.Zoom != 1.1 || p.Push.Frames != shot.Len()+shot.Into.Frames || at >= 0 && p.Push.At != at {
				t.Errorf("frames %d to %d: %+v after frame %d", seg.From, seg.To, p.Push, at)
			}
			at = p.Push.At + g.Frames
		}
	}
	if pushed < 2 || at != shot.Len()+shot.Into.Frames {
		t.Errorf("%d pieces are pushed in to, up to frame %d", pushed, at)
	}
}

// Tiles that glide are in neither scene: they begin where they were and end where they
// will be. Those that stay away are never drawn.
func TestGlidingTilesAreInNoScene(t *testing.T) {
	_, _, list := compositions(t, ", push_in: 1.1", "") // where a shot pushes in nothing glides
	glides := 0
	for i, g := range segments(list) {
		if g.Into == nil || len(g.Into.Moves) == 0 {
			continue
		}
		glides++
		seg := list[i].seg
		for _, m := range g.Into.Moves {
			for _, p := range slices.Concat(g.Pieces, g.Into.Pieces) {
				if p.Path == m.Piece.Path {
					t.Errorf("%s glides and stands", p.Path)
				}
			}
			if m.From == m.Piece.Hole || m.From.W <= 0 || m.Piece.Hole.W <= 0 || m.Window[0].W <= 0 ||
				m.Window[1].W <= 0 {
				t.Errorf("frames %d to %d: %+v", seg.From, seg.To, m)
			}
		}
		if leaves := g.Into.Leave > 0; leaves != (g.Into.Cover != "") {
			t.Errorf("leaving for %d frames over %q", g.Into.Leave, g.Into.Cover)
		}
	}
	if glides != 1 {
		t.Errorf("%d transitions with gliding tiles", glides)
	}
}

// A segment for another machine names its inputs by numbers, each once, and reads back
// from JSON as itself; what it needs is what its task depends on.
func TestSegmentsTravel(t *testing.T) {
	_, _, list := compositions(t)
	m := New((&recorder{}).tool(), nil, plantest.Plan(t, moving, true), &Assets{}, nil)
	for i, c := range list {
		w, uses := c.work()
		inputs := uses.inputs
		data, err := json.Marshal(w)
		if err != nil {
			t.Fatal(err)
		}
		var again segmentWork
		if err := json.Unmarshal(data, &again); err != nil {
			t.Fatal(err)
		}
		if second, err := json.Marshal(again); err != nil || string(second) != string(data) {
			t.Errorf("segment %d reads back as %s, %v", i, second, err)
		}
		var ids []string
		for _, in := range inputs {
			ids = append(ids, in.Task().ID)
		}
		made := m.segmentTask(c)
		after := slices.Sorted(slices.Values(made.Task().After))
		sorted := slices.Sorted(slices.Values(ids))
		if len(slices.Compact(slices.Clone(sorted))) != len(sorted) || !slices.Equal(sorted, after) {
			t.Errorf("segment %d reads %q, its task comes after %q", i, sorted, after)
		}
		for k := range inputs {
			if !strings.Contains(string(data), fmt.Sprintf(`"%d.`, k)) {
				t.Errorf("segment %d never uses input %d", i, k)
			}
		}
		if strings.Contains(string(data), "/takes/") || strings.Contains(string(data), "Ada") {
			t.Errorf("segment %d tells more than it must: %s", i, data)
		}
	}
}

// A change of one shot makes nothing of the others again.
func TestOneShotChanges(t *testing.T) {
	keys := func(list []composition) map[int][]string {
		m := New((&recorder{}).tool(), nil, plantest.Plan(t, moving, true), &Assets{}, nil)
		all := map[int][]string{}
		for _, c := range list {
			made := m.segmentTask(c)
			all[c.seg.Shot] = append(all[c.seg.Shot], made.Action().ID().String())
		}
		return all
	}
	was := keys(second(compositions(t)))
	now := keys(second(compositions(t, "push_in: 1.1", "push_in: 1.2")))
	for shot := range was {
		if same := slices.Equal(was[shot], now[shot]); same != (shot != 1 && shot != 2) {
			// The transition into shot 2 shows the end of shot 1.
			t.Errorf("shot %d is the same: %v", shot, same)
		}
	}
}
