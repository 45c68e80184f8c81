package strict_test

import (
	"errors"
	"strings"
	"testing"
	"testing/iotest"

	"ripieno/assemble/strict"
)

// One value, fields that are known, nothing behind it.
func TestReadIsStrict(t *testing.T) {
	for text, want := range map[string]string{
		`{"seat": 3}`:             "",
		" {\"seat\": 3}\n\t ":     "",
		`{"seat": 3, "chair": 1}`: "unknown field",
		`{"seat": "three"}`:       "cannot unmarshal string",
		`{"seat": 3`:              "unexpected EOF",
		``:                        "EOF",
		`{"seat": 3} {"seat": 4}`: strict.ErrMore.Error(),
		`{"seat": 3} "`:           strict.ErrMore.Error(),
		`{"seat": 3}]`:            strict.ErrMore.Error(),
	} {
		var v struct {
			Seat int `json:"seat"`
		}
		switch err := strict.Read(strings.NewReader(text), &v); {
		case want == "" && (err != nil || v.Seat != 3):
			t.Errorf("%q gives seat %d, %v", text, v.Seat, err)
		case want != "" && (err == nil || !strings.Contains(err.Error(), want)):
			t.Errorf("%q gives %v instead of %q", text, err, want)
		}
	}
	gone := errors.New("the line is cut")
	if err := strict.Read(iotest.ErrReader(gone), new(int)); !errors.Is(err, gone) {
		t.Errorf("a reader that fails gives %v", err)
	}
}
