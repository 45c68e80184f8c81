package guide

import (
	"context"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"

	"ripieno/assemble/manifest"
	"ripieno/assemble/production"
	"ripieno/assemble/session"
	"ripieno/mix/tempo"
)

// Record keeps in the production's folder what a guide that has just been
// written was made with; see [manifest.Made]. made is the record as it was read, and
// is changed.
func (j Job) Record(ctx context.Context, man *production.Production, made *manifest.Made) error {
	g := manifest.MadeGuide{Guide: j.File, Spec: j.Tempo.Spec()}
	if man.Score != nil {
		g.Score = man.Score.Hash
	}
	if v := j.Variant; v != nil && v.To > 0 {
		g.From, g.To = v.From, v.To-1
	}
	made.Add(g)
	return session.Publish(ctx, filepath.Join(man.Dir, manifest.MadeName), made.Encode())
}

// Difference is one thing in which a guide differs from what the manifest says
// now, in words: "88 bpm", "a count-in of 8 measures".
type Difference struct {
	Of   string `json:"of"` // tempo, meter, count-in, cue, pick-up, measures, holds, score
	Made string `json:"made"`
	Now  string `json:"now"`
}

// Change is a guide that was made otherwise than the manifest says now.
type Change struct {
	Guides []string `json:"guides"` // the names of their files without an ending
	// a newer one was made since; told for the takes that were played to it
	Older   bool         `json:"older,omitempty"`
	Differs []Difference `json:"differs"`
	Takes   []string     `json:"takes,omitempty"` // that were played to it, as far as can be told
	What    string       `json:"what"`
	Hint    string       `json:"hint"`
}

// Changed returns how the guides that were made last differ from what the
// manifest says now, those that differ alike together. A guide that is not in
// the record differs in nothing.
func Changed(man *production.Production, made *manifest.Made) []Change {
	var list []Change
	jobs := []Job{{File: Name(""), Tempo: man.Tempo}}
	for i := range man.Guide.Variants {
		v := &man.Guide.Variants[i]
		jobs = append(jobs, Job{File: Name(v.Name), Tempo: v.Tempo, Variant: v})
	}
	for _, j := range jobs {
		last := made.Of(j.File)
		if len(last) == 0 {
			continue
		}
		differs := j.differences(last[0], man)
		if len(differs) == 0 {
			continue
		}
		same := slices.IndexFunc(list, func(c Change) bool { return slices.Equal(c.Differs, differs) })
		if same < 0 {
			list, same = append(list, Change{Differs: differs}), len(list)
		}
		list[same].Guides = append(list[same].Guides, j.File)
	}
	return list
}

// sameTempo is how far a take's tempo may lie from that of the guide it was
// played to, as a share: a clock runs off by less than a tenth of that, and the
// tempi that takes are held against lie closer.
const sameTempo = 0.006

// PlayedTo returns the guide, of those that were made, to which a take was
// played whose tempo is other times that of the guide the manifest names for it,
// and how that guide differs. ok is false when it was none of them. other is how many
// times as fast the take was played: its own tempo over that of the guide.
func PlayedTo(man *production.Production, made *manifest.Made, variant string, other float64) (c Change, ok bool) {
	for _, f := range Former(man, made, variant) {
		ratio := speedOver(f.Tempo, f.Now)
		if math.Abs(ratio-1) >= sameTempo && math.Abs(other/ratio-1) <= sameTempo {
			return f.Change, true
		}
	}
	return Change{}, false
}

// FormerGuide is a guide that was made otherwise than the manifest says now.
type FormerGuide struct {
	Change
	Tempo, Now *tempo.Map // of that guide, and of the one of now
}

// Former returns the guides, of those that were made, to which takes of a variant may have
// been played and that differ from what the manifest says now, the newest first.
func Former(man *production.Production, made *manifest.Made, variant string) []FormerGuide {
	j := Job{File: Name(variant), Tempo: man.Tempo, Variant: man.Guide.Variant(variant)}
	if j.Variant != nil {
		j.Tempo = j.Variant.Tempo
	}
	list := made.Of(j.File)
	// A variant that only sounds otherwise has the beats of the guide all play to.
	if len(list) == 0 && (j.Variant == nil || j.Variant.To == 0) {
		j.File, j.Variant = Name(""), nil
		list = made.Of(j.File)
	}
	var former []FormerGuide
	for i, g := range list {
		m, err := tempo.New(g.Spec)
		if err != nil {
			continue // not from ParseMade, which refuses such
		}
		if differs := j.differences(g, man); len(differs) > 0 {
			former = append(former, FormerGuide{Change{Guides: []string{j.File}, Older: i > 0, Differs: differs},
				m, j.Tempo})
		}
	}
	return former
}

// speedOver returns how fast a guide goes against another, in the mean over the
// notes that both have.
func speedOver(m, now *tempo.Map) float64 {
	q := min(m.QuartersAt(m.End()), now.QuartersAt(now.End()))
	return (now.SecondsAt(q) - now.SecondsAt(0)) / (m.SecondsAt(q) - m.SecondsAt(0))
}

// Describe fills in the words of a change, once its takes are known. English, as all
// messages on the command line.
func (c *Change) Describe() {
	names := make([]string, len(c.Guides))
	for i, g := range c.Guides {
		names[i] = g + ".wav"
	}
	subject, was := strings.Join(names, " and "), "was"
	if len(names) > 1 {
		was = "were"
	}
	if c.Older {
		subject = "an older " + subject
	}
	c.What = fmt.Sprintf("%s %s made with %s", subject, was, c.Told())
	c.Hint = "set production.yaml back, or run ripieno click and send everybody the guide anew"
	if len(c.Takes) > 0 {
		c.What += "; takes played to it: " + strings.Join(c.Takes, ", ")
		c.Hint = "set production.yaml back, or send these players the current guide and ask for new takes"
	}
}

// Told returns what the guide was made with and what the manifest says now.
func (c *Change) Told() string {
	var made, now []string
	for _, d := range c.Differs {
		made, now = append(made, d.Made), append(now, d.Now)
	}
	return strings.Join(made, ", ") + "; production.yaml now says " + strings.Join(now, ", ")
}
