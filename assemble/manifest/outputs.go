package manifest

import (
	"ripieno/assemble/production"

	"go.yaml.in/yaml/v3"
)

// claim is a file in the folder of outputs and what writes it.
type claim struct{ file, what string }

// claims returns the files that a deliverable's name gives: the film's own and the
// ones named after it. The first deliverable's rough cut has no name.
func claims(d production.Deliverable, first bool) []claim {
	rough := "rough-" + d.Name + ".mp4"
	if first {
		rough = "rough.mp4"
	}
	list := []claim{{d.Name + ".mp4", "the finished film"}, {rough, "the rough cut"}}
	for _, ext := range []string{".png", ".svg"} {
		list = append(list, claim{"grid-" + d.Name + ext, "the plan"})
	}
	list = append(list, claim{"sheet-" + d.Name + ".png", "the storyboard"},
		claim{"crops-" + d.Name + ".png", "the plan of what is shown of everybody"})
	if d.Poster != nil {
		list = append(list, claim{d.Name + "-poster.png", "the poster"})
	}
	return list
}

// refuseClashes refuses deliverables of which one would be written over another, or
// over something else that is named after one. Some disks ignore capitals. An example:
// the rough cut of the film short, when it is not the first, is rough-short.mp4, and a
// film may be called rough-short.
func (m mapping) refuseClashes(all []production.Deliverable) {
	type owner struct {
		claim
		of int
	}
	taken := map[string]owner{}
	bad := map[int]bool{}
	for i, d := range all {
		for _, c := range claims(d, i == 0) {
			o, ok := taken[production.Fold(c.file)]
			if !ok {
				taken[production.Fold(c.file)] = owner{c, i}
				continue
			}
			// The one that has the name by its own choice is asked to change it.
			// Two films of one name were told of before.
			blame, other, what := i, o.of, o.what
			if c.what != "the finished film" && o.what == "the finished film" {
				blame, other, what = o.of, i, c.what
			}
			if bad[blame] || c.what == o.what {
				continue
			}
			bad[blame] = true
			m.at(m.nameOf(all[blame]), "choose another name, for example final",
				"deliverable %q would be written to %s, which is %s of %q", all[blame].Name, c.file, what,
				all[other].Name)
		}
	}
}

// refuseGuides refuses deliverables over which click --film writes a guide to look at.
func (m mapping) refuseGuides(all []production.Deliverable, variants []production.Variant) {
	guides := map[string]bool{"guide": true}
	for _, v := range variants {
		guides[production.Fold("guide-"+v.Name)] = true
	}
	for _, d := range all {
		if guides[production.Fold(d.Name)] {
			m.at(m.nameOf(d), "choose another name, for example final",
				"deliverable %q would be written to %s.mp4, which is a guide to look at", d.Name, d.Name)
		}
	}
}

// nameOf returns where a deliverable's name is written.
func (m mapping) nameOf(d production.Deliverable) *yaml.Node {
	// A deliverable keeps where its entry begins and not the node.
	for _, n := range m.vals["deliver"].Content {
		if n.Line != d.Mark.Line || n.Column != d.Mark.Column || n.Kind != yaml.MappingNode {
			continue
		}
		for i := 0; i+1 < len(n.Content); i += 2 {
			if n.Content[i].Value == "name" {
				return n.Content[i+1]
			}
		}
	}
	return m.vals["deliver"]
}
