package roll

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"

	"ripieno/assemble/fault"
	"ripieno/assemble/intake"
	"ripieno/assemble/production"
	"ripieno/assemble/takes"
)

// Check gives every take the level of its worst finding; one that is not in is
// missing whatever was found, and files that cannot be read are faults of the run,
// but not those of a take that is withheld.
func TestNewCheck(t *testing.T) {
	broken := &takes.Recording{Owner: "cello", Role: takes.Video, Err: fault.New(fault.Media, "c.mp4", "cut off",
		"again")}
	set := &takes.Set{}
	for _, p := range []production.Take{{Name: "oboe", Player: "Mara Voss"}, {Name: "horn"}, {Name: "flute"}} {
		set.Takes = append(set.Takes, takes.Take{Take: &p})
	}
	set.Takes = append(set.Takes,
		takes.Take{Take: &production.Take{Name: "cello"}, Video: broken},
		takes.Take{Take: &production.Take{Name: "tuba", Release: production.ReleaseNo}, Video: broken})
	judged := []takes.Judged{
		{Findings: []intake.Finding{{Level: intake.Ask}, {Level: intake.OK}}},
		{Facts: intake.Facts{Expected: true}, Findings: []intake.Finding{{Level: intake.Redo}}},
		{},
		{Findings: []intake.Finding{{Level: intake.Redo}}},
		{},
	}
	r := NewCheck(judged, set)
	var levels, faults []string
	for _, c := range r.Takes {
		levels = append(levels, c.Name+" "+c.Level)
	}
	for _, b := range r.Faults {
		faults = append(faults, string(b.Kind)+" "+b.Take)
	}
	if want := []string{"oboe ask", "horn missing", "flute ok", "cello redo", "tuba ok"}; !slices.Equal(levels, want) {
		t.Errorf("levels %q, want %q", levels, want)
	}
	if want := []string{"missing horn", "unreadable cello"}; !slices.Equal(faults, want) {
		t.Errorf("faults %q, want %q", faults, want)
	}
	// Programs that read it find a list and never null.
	text, err := json.Marshal(NewCheck(nil, &takes.Set{}))
	if err != nil || !strings.Contains(string(text), `"takes":[]`) {
		t.Errorf("%s, %v", text, err)
	}
	if text, err = json.Marshal(r.Takes[2]); err != nil || !strings.Contains(string(text), `"findings":[]`) {
		t.Errorf("%s, %v", text, err)
	}
}
