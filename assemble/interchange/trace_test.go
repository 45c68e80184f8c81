package interchange

import (
	"encoding/json"
	"testing"
	"time"
)

// The trace is read as the Trace Event Format describes it: an object with a list of
// events, those with a length marked X, times in microseconds.
func TestTrace(t *testing.T) {
	zero := time.Unix(1_000_000, 0)
	data, err := Trace("ripieno", []Slice{
		{Category: "compose", Name: "final from 2.0 s", Lane: 1, From: zero.Add(2 * time.Second),
			To: zero.Add(3500 * time.Millisecond)},
		{Category: "conform", Name: "oboe", From: zero, To: zero.Add(time.Second), Error: "broke off"},
	})
	if err != nil {
		t.Fatal(err)
	}
	var got struct {
		TraceEvents []struct {
			Name, Cat, Ph string
			TS, Dur       int64
			PID, TID      int
			Args          map[string]string
		}
	}
	if err := json.Unmarshal(data, &got); err != nil || len(got.TraceEvents) != 3 {
		t.Fatalf("%v: %s", err, data)
	}
	process, late, early := got.TraceEvents[0], got.TraceEvents[1], got.TraceEvents[2]
	if process.Ph != "M" || process.Args["name"] != "ripieno" {
		t.Errorf("%+v", process)
	}
	if late.Ph != "X" || late.TS != 2_000_000 || late.Dur != 1_500_000 || late.TID != 2 || late.Cat != "compose" {
		t.Errorf("%+v", late)
	}
	if early.TS != 0 || early.Dur != 1_000_000 || early.TID != 1 || early.Args["error"] != "broke off" {
		t.Errorf("%+v", early)
	}
}
