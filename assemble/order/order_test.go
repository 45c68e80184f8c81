package order

import (
	"encoding/json"
	"reflect"
	"strings"
	"testing"
)

var (
	hash  = strings.Repeat("0a", 32)
	other = strings.Repeat("b1", 32)
)

func segment() Order {
	return Order{Key: hash, Rule: "segment", Class: other, Args: json.RawMessage(`{"frames":48}`),
		Inputs:  []File{{Name: "picture.mp4", Hash: other, Size: 1 << 20}},
		Outputs: []string{"segment.mp4", "small.rgb"}}
}

// TestAnOrderComesBackAsItWas sends an order and a result through their bytes.
func TestAnOrderComesBackAsItWas(t *testing.T) {
	o := segment()
	data, err := o.Encode()
	if err != nil {
		t.Fatal(err)
	}
	if got, err := Decode(data); err != nil || !reflect.DeepEqual(got, o) {
		t.Errorf("%+v, %v", got, err)
	}
	r := Result{Key: hash, Worker: "laptop-1", Files: []File{{"segment.mp4", hash, 9}, {"small.rgb", other, 3}},
		Seconds: 1.5}
	if data, err = r.Encode(); err != nil {
		t.Fatal(err)
	}
	got, err := DecodeResult(data)
	if err != nil || !reflect.DeepEqual(got, r) {
		t.Errorf("%+v, %v", got, err)
	}
	if err := got.Answers(o); err != nil {
		t.Error(err)
	}
}

// TestWhatIsNoOrderIsRefused changes one thing at a time.
func TestWhatIsNoOrderIsRefused(t *testing.T) {
	for name, change := range map[string]func(*Order){
		"no key":                func(o *Order) { o.Key = "" },
		"a key in capitals":     func(o *Order) { o.Key = strings.ToUpper(hash) },
		"a short class":         func(o *Order) { o.Class = hash[:63] },
		"a rule with a space":   func(o *Order) { o.Rule = "rm -rf" },
		"a rule with a slash":   func(o *Order) { o.Rule = "../segment" },
		"no rule":               func(o *Order) { o.Rule = "" },
		"arguments cut off":     func(o *Order) { o.Args = json.RawMessage(`{"frames":`) },
		"a path as input":       func(o *Order) { o.Inputs[0].Name = "a/b.mp4" },
		"the folder above":      func(o *Order) { o.Inputs[0].Name = ".." },
		"a hidden input":        func(o *Order) { o.Inputs[0].Name = ".profile" },
		"an input without hash": func(o *Order) { o.Inputs[0].Hash = "" },
		"a negative size":       func(o *Order) { o.Inputs[0].Size = -1 },
		"a size of a petabyte":  func(o *Order) { o.Inputs[0].Size = 1 << 50 },
		"two outputs, one name": func(o *Order) { o.Outputs = []string{"a", "a"} },
		"an output outside":     func(o *Order) { o.Outputs = []string{"/a"} },
		"an ending with a path": func(o *Order) { o.Ext = "./../a" },
		"too many inputs":       func(o *Order) { o.Inputs = make([]File, MaxFiles+1) },
	} {
		o := segment()
		change(&o)
		if _, err := o.Encode(); err == nil {
			t.Errorf("%s is encoded", name)
		}
		data, err := json.Marshal(o)
		if err != nil {
			continue // JSON that is none cannot even be written
		}
		if _, err := Decode(data); err == nil {
			t.Errorf("%s is decoded", name)
		}
	}
	for _, text := range []string{"", "null", "[]", `{"key":1}`, `{"unknown":1}`, `{} {}`,
		strings.Repeat(" ", MaxBytes+1)} {
		if _, err := Decode([]byte(text)); err == nil {
			t.Errorf("%.20q is decoded", text)
		}
	}
}

// TestAResultAnswersItsOrder refuses what was not asked for.
func TestAResultAnswersItsOrder(t *testing.T) {
	o := segment()
	good := Result{Key: hash, Worker: "w", Files: []File{{"segment.mp4", hash, 9}, {"small.rgb", other, 3}}}
	if err := good.Answers(o); err != nil {
		t.Fatal(err)
	}
	single := o
	single.Outputs, single.Ext = nil, ".mp4"
	if err := (Result{Key: hash, Worker: "w", Files: []File{{"", hash, 9}}}).Answers(single); err != nil {
		t.Error(err)
	}
	for name, r := range map[string]Result{
		"another key":  {Key: other, Files: good.Files},
		"a file less":  {Key: hash, Files: good.Files[:1]},
		"other names":  {Key: hash, Files: []File{good.Files[1], good.Files[0]}},
		"an empty one": {Key: hash, Files: []File{{"segment.mp4", hash, 9}, {"small.rgb", other, 0}}},
	} {
		if r.Answers(o) == nil {
			t.Errorf("%s answers", name)
		}
	}
	for name, r := range map[string]Result{
		"neither files nor reason": {Key: hash, Worker: "w"},
		"no worker":                {Key: hash, Failed: "x"},
		"a worker with a space":    {Key: hash, Worker: "a b", Failed: "x"},
		"less than no time":        {Key: hash, Worker: "w", Failed: "x", Seconds: -1},
	} {
		if r.Validate() == nil {
			t.Errorf("%s is a result", name)
		}
	}
	long := Result{Key: hash, Worker: "w", Failed: strings.Repeat("é", maxReason)}
	data, err := long.Encode()
	if err != nil {
		t.Fatal(err)
	}
	if r, err := DecodeResult(data); err != nil || len(r.Failed) > maxReason || r.Failed == "" {
		t.Errorf("a long reason comes back with %d bytes, %v", len(r.Failed), err)
	}
}

// FuzzDecode holds that whatever is decoded is valid and encodes to the same order.
func FuzzDecode(f *testing.F) {
	data, err := segment().Encode()
	if err != nil {
		f.Fatal(err)
	}
	f.Add(data)
	f.Add([]byte(`{"key":"","rule":"a"}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		o, err := Decode(data)
		if err != nil {
			return
		}
		again, err := o.Encode()
		if err != nil {
			t.Fatalf("decoded and not valid: %v", err)
		}
		if back, err := Decode(again); err != nil || back.Key != o.Key || len(back.Inputs) != len(o.Inputs) {
			t.Fatalf("%+v, %v", back, err)
		}
		_, _ = DecodeResult(data)
	})
}
