package manifest

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"

	"ripieno/mix/audio"
)

// Bounds of the parts of a recording.
const (
	maxParts = 20
	maxShift = 3600 // seconds
)

// sampleRates are the rates that a sound's label may be wrong about, in hertz.
var sampleRates = []string{"32000", "44100", "48000", "88200", "96000"}

// parts reads the stretches of a file that are one piece of time each. A part without
// to: ends where the next begins or with the file, one without from: begins where the
// one before ends or with the file.
func (m mapping) parts() audio.Parts {
	entries := m.entries("parts", partShape)
	if len(entries) == 0 {
		return nil
	}
	if len(entries) > maxParts {
		m.at(m.keys["parts"], fmt.Sprintf("at most %d", maxParts), "%d parts", len(entries))
		return nil
	}
	out := make(audio.Parts, len(entries))
	for i, e := range entries {
		p := &out[i]
		p.To = math.Inf(1)
		if x, ok := e.fileTime("to"); ok {
			p.To = *x
		}
		if i > 0 {
			p.From = out[i-1].To
		}
		if x, ok := e.fileTime("from"); ok {
			p.From = *x
		}
		p.Shift, _ = e.number("shift")
		if i > 0 && math.IsInf(out[i-1].To, 1) {
			out[i-1].To = p.From
		}
		switch {
		case math.IsInf(p.From, 1):
			e.at(e.node, "give from: of this part, or to: of the one before", "nothing says where part %d begins", i+1)
			return nil
		case p.To <= p.From:
			e.at(e.node, "to: must be later than from:", "part %d is empty", i+1)
			return nil
		case i > 0 && p.From < out[i-1].To:
			e.at(e.node, "parts are in order of the file and do not overlap",
				"part %d begins before the one before it ends", i+1)
			return nil
		// A microsecond of overlap is what decimals written by people leave.
		case i > 0 && p.From+p.Shift < out[i-1].To+out[i-1].Shift-1e-6:
			e.at(e.node, "begin this part later, or end the one before earlier",
				"part %d overlaps the one before by %.3f seconds", i+1, out[i-1].To+out[i-1].Shift-p.From-p.Shift)
			return nil
		}
	}
	return out
}

// partsText returns parts as the manifest writes them, "" for none.
func partsText(parts audio.Parts) string {
	var words []string
	for _, p := range parts {
		var keys []string
		if p.From > 0 {
			keys = append(keys, "from: "+decimal(p.From))
		}
		if !math.IsInf(p.To, 1) {
			keys = append(keys, "to: "+decimal(p.To))
		}
		if p.Shift != 0 {
			keys = append(keys, "shift: "+decimal(p.Shift))
		}
		if len(keys) == 0 {
			keys = append(keys, "from: 0")
		}
		words = append(words, "{"+strings.Join(keys, ", ")+"}")
	}
	if len(words) == 0 {
		return ""
	}
	return "[" + strings.Join(words, ", ") + "]"
}

// ofTheFile returns what sync found of the file itself.
func (v Pinned) ofTheFile() []pair {
	var out []pair
	if text := partsText(v.Parts); text != "" {
		out = append(out, pair{"parts", text})
		if v.PartsOfSound {
			out = append(out, pair{"parts_of", "sound"})
		}
	}
	if v.SampleRate > 0 {
		out = append(out, pair{"sample_rate", strconv.Itoa(v.SampleRate)})
	}
	return out
}

// readsAs reports whether a value is what text says: a plain scalar, or a list in
// brackets.
func readsAs(n *yaml.Node, text string) bool {
	if n.Kind == yaml.ScalarNode {
		return n.Value == text && !isQuoted(n)
	}
	var want yaml.Node
	return yaml.Unmarshal([]byte(text), &want) == nil && len(want.Content) == 1 &&
		differsOnlyBy(want.Content[0], n, nil)
}
