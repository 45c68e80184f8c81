package demo

import (
	"fmt"
	"math"
	"strings"

	"ripieno/assemble/demo/score"
	"ripieno/mix/audio"
)

// edition is the version of the demo's content. It is raised when any take
// would come out differently, so that an old folder is not taken for a new
// one.
const edition = 1

// Truth is what was decided for a demo, and what sync is compared with.
type Truth struct {
	Seed    uint64
	Cue     float64 // guide time of the cue in seconds
	Players []PlayerTruth
	Files   []FileTruth
	Planted []PlantedTruth
}

// PlantedTruth is a fault that a take was given on purpose. The check finds all
// of them and no other.
type PlantedTruth struct {
	Take  string
	Code  string // as the check calls it
	Level string // ok: only told, because it does no harm or the manifest deals with it; ask: the player is asked
}

// PlayerTruth is the human side of a player.
type PlayerTruth struct {
	Take, Player string
	BiasMS       float64 // mean lateness of the playing in ms; negative: early
	JitterMS     float64 // standard deviation of single notes around that, ms
	ClapErrorMS  float64 // lateness of the clap against the cue, ms
	HeardMS      float64 // how much later than they start the notes are heard to begin, on average, ms
}

// FileTruth is the clock of a recording: guide = Offset + t·(1 + DriftPPM·1e-6)
// for the moment t seconds after the file's time zero.
type FileTruth struct {
	Take, Role string // Role is "video" or "audio", the key in production.yaml
	File       string // relative to the production's folder, with slashes
	Offset     float64
	DriftPPM   float64
	ClapAt     float64 // seconds into the file at which the hands meet
	Seconds    float64 // length of the recording
}

// Clock returns where the recording lies on guide time.
func (f FileTruth) Clock() audio.Clock {
	return audio.Clock{Offset: f.Offset, Drift: audio.PPM(f.DriftPPM)}
}

// File returns the truth about a take's recording with that role.
func (t Truth) File(take, role string) (FileTruth, bool) {
	for _, f := range t.Files {
		if f.Take == take && f.Role == role {
			return f, true
		}
	}
	return FileTruth{}, false
}

// Player returns the truth about the player of a take.
func (t Truth) Player(take string) (PlayerTruth, bool) {
	for _, p := range t.Players {
		if p.Take == take {
			return p, true
		}
	}
	return PlayerTruth{}, false
}

// truth collects what was drawn by lot for every player and file, and what was put wrong on
// purpose: what sync and check are held against.
func (p *production) truth() Truth {
	t := Truth{Seed: p.options.Seed, Cue: p.tempo.Cue()}
	for _, q := range p.cast {
		t.Planted = append(t.Planted, q.plantedFaults()...)
		if q.camera == nil && q.mic == nil {
			continue // expected
		}
		t.Players = append(t.Players, PlayerTruth{q.take, q.name, q.biasMS, q.jitterMS, q.clapErrorMS,
			q.heardMS(p.piece.Part(q.part))})
		clap := t.Cue + q.clapErrorMS/1000
		add := func(role string, m microphone) {
			t.Files = append(t.Files, FileTruth{q.take, role, m.file, m.clock.offset, m.clock.drift,
				round(m.clock.file(clap), 6), m.clock.length})
		}
		if q.camera != nil {
			add("video", q.camera.microphone)
		}
		if q.mic != nil {
			add("audio", *q.mic)
		}
	}
	return t
}

// heardMS returns how much later than they start the notes of a player's part are heard to
// begin, on average, in milliseconds: bows and lips take a while to speak, less where one note
// goes on from the one before.
func (q player) heardMS(part score.Part) float64 {
	var sum float64
	for i, n := range part.Notes {
		slurred := i > 0 && !part.Notes[i-1].Short && part.Notes[i-1].To == n.From
		sum += 1000 * q.kind.Heard(slurred)
	}
	return round(sum/math.Max(1, float64(len(part.Notes))), 1)
}

// plantedFaults returns the faults of a player's take.
func (q player) plantedFaults() []PlantedTruth {
	var all []PlantedTruth
	plant := func(is bool, code, level string) {
		if is {
			all = append(all, PlantedTruth{q.take, code, level})
		}
	}
	plant(q.camera == nil && q.mic == nil, "missing", "ask")
	if c := q.camera; c != nil {
		plant(c.level > -20, "too-loud", "ask")
		plant(c.level < -40, "too-soft", "ask")
		plant(c.hum < 0, "hum", "ask")
		// The manifest says what of an upright picture is shown.
		plant(c.view.H > c.view.W || c.view.Turn%180 != 0, "portrait", "ok")
		plant(c.view.Turn != 0, "rotated", "ok")
		plant(c.vfr, "variable-rate", "ok")
	}
	return all
}

// Encode returns truth.yaml, with a line for each player, file and planted fault.
func (t Truth) Encode() []byte {
	var b strings.Builder
	b.WriteString("# What is true of this demo, to compare what sync finds with.\n" +
		"# guide = offset + t * (1 + drift_ppm * 1e-6); clap_at is t of the clap in the file.\n" +
		"# bias_ms is how late a player's notes start on average, jitter_ms the spread of single\n" +
		"# ones, heard_ms how much later they are heard to begin (10 dB below their peak),\n" +
		"# clap_error_ms how late the clap is against the cue. planted are the faults that\n" +
		"# check finds, and the only ones.\n")
	fmt.Fprintf(&b, "edition: %d\nseed: %d\ncue: %.6f\nplayers:\n", edition, t.Seed, t.Cue)
	for _, p := range t.Players {
		fmt.Fprintf(&b,
			"  - {take: %s, player: %q, bias_ms: %.1f, jitter_ms: %.1f, heard_ms: %.1f, clap_error_ms: %.1f}\n",
			p.Take, p.Player, p.BiasMS, p.JitterMS, p.HeardMS, p.ClapErrorMS)
	}
	b.WriteString("files:\n")
	for _, f := range t.Files {
		fmt.Fprintf(&b, "  - {take: %s, role: %s, file: %s, offset: %.4f, drift_ppm: %.1f, clap_at: %.6f, "+
			"seconds: %.2f}\n",
			f.Take, f.Role, f.File, f.Offset, f.DriftPPM, f.ClapAt, f.Seconds)
	}
	b.WriteString("planted:\n")
	for _, f := range t.Planted {
		fmt.Fprintf(&b, "  - {take: %s, finding: %s, level: %s}\n", f.Take, f.Code, f.Level)
	}
	return []byte(b.String())
}
