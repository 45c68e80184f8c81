package roll

import (
	"fmt"
	"strings"
	"testing"
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
