package picture

import "testing"

// TestATrialIsTheSameTwice: the hash says what this machine computes, and nothing of
// the moment or the folder.
func TestATrialIsTheSameTwice(t *testing.T) {
	t.Parallel()
	tool := findTool(t)
	first, err := Trial(t.Context(), tool)
	if err != nil {
		t.Fatal(err)
	}
	second, err := Trial(t.Context(), tool)
	if err != nil || first != second || len(first) != 64 {
		t.Errorf("%q, then %q, %v", first, second, err)
	}
}
