package cli

import "testing"

func TestParseSize(t *testing.T) {
	for _, c := range []struct {
		text string
		want int64
		ok   bool
	}{
		{"0", 0, true}, {"1000000", 1000000, true}, {"12B", 12, true}, {"50GB", 50e9, true}, {"50 gb", 50e9, true},
		{"1.5G", 1500e6, true}, {"2GiB", 2 << 30, true}, {"3Ki", 3 << 10, true}, {"1T", 1e12, true},
		{"", 0, false}, {"-1", 0, false}, {"GB", 0, false}, {"5iB", 0, false}, {"5 apples", 0, false},
		{"1e9", 0, false}, {"999999999999T", 0, false},
	} {
		if got, ok := parseSize(c.text); ok != c.ok || ok && got != c.want {
			t.Errorf("%q is %d, %v, want %d, %v", c.text, got, ok, c.want, c.ok)
		}
	}
}
