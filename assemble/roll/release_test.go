package roll

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"ripieno/assemble/fault"
	"ripieno/assemble/production"
)

// TestManyOpenReleasesStayReadable: four hundred names in one line help nobody.
func TestManyOpenReleasesStayReadable(t *testing.T) {
	var names []string
	for k := range 12 {
		names = append(names, fmt.Sprintf("%q", string(rune('a'+k))))
	}
	if got := firstOf(names); got != strings.Join(names, ", ") {
		t.Errorf("twelve: %s", got)
	}
	if got, end := firstOf(append(names, `"m"`,
		`"n"`)), `"l" and 2 more, which ripieno rollcall lists`; !strings.HasSuffix(got, end) ||
		strings.Contains(got, `"m"`) {
		t.Errorf("fourteen: %s", got)
	}
}

// file is a recording that is in.
var file = &production.File{Path: "intake/x.mov"}

// What is open before publishing: releases that nobody wrote down in one sentence,
// and each take whose player said no. Takes that are not in have nothing to release.
func TestOpenReleases(t *testing.T) {
	for _, c := range []struct {
		what  string
		takes []production.Take
		want  []string // the beginning of each fault
	}{
		{"nobody", nil, nil},
		{"all agreed", []production.Take{{Name: "a", Video: file, Release: production.ReleaseYes},
			{Name: "b", Audio: file, Release: production.ReleaseAudioOnly}}, nil},
		{"not in yet", []production.Take{{Name: "a", Expected: true}}, nil},
		{"one has not answered", []production.Take{{Name: "a", Player: "Mara Voss", Video: file},
			{Name: "b", Audio: file, Release: production.ReleaseYes}, {Name: "c", Expected: true}},
			[]string{`no release is written down for 1 of 2 takes: "a" (Mara Voss)`}},
		{"one said no", []production.Take{{Name: "a", Audio: file, Release: production.ReleaseNo}},
			[]string{`take "a" has release: no and is left out`}},
		{"both", []production.Take{{Name: "a", Video: file, Release: production.ReleaseNo}, {Name: "b", Video: file},
			{Name: "c", Video: file}},
			[]string{`no release is written down for 2 of 3 takes: "b", "c"`, `take "a" has release: no`}},
	} {
		list := Releases(&production.Production{Takes: c.takes})
		if len(list) != len(c.want) {
			t.Errorf("%s: %+v", c.what, list)
			continue
		}
		for i, b := range list {
			if !strings.HasPrefix(b.What, c.want[i]) || b.Hint == "" {
				t.Errorf("%s: %q with the hint %q, want %q", c.what, b.What, b.Hint, c.want[i])
			}
		}
		err := RefuseUnreleased(list)
		var all fault.List
		if (err == nil) != (len(list) == 0) || err != nil && (!errors.As(err, &all) || len(all) != len(list)+1) {
			t.Errorf("%s: refused by %v", c.what, err)
		}
		for _, f := range all {
			if f.Kind != fault.Decision {
				t.Errorf("%s: %v has kind %v", c.what, f, f.Kind)
			}
		}
		if n := len(all); n > 0 && !strings.Contains(all[n-1].Hint, "--allow-missing-release") {
			t.Errorf("%s: at the end %q does not say how to go on", c.what, all[n-1].Hint)
		}
	}
}
