package interchange

import (
	"encoding/json"
	"time"
)

// Slice is something that took time.
type Slice struct {
	Category, Name string
	Lane           int // those of one lane do not overlap
	From, To       time.Time
	Error          string
}

// Trace returns events in the Trace Event Format ("Chrome trace"), which
// chrome://tracing and other viewers of profiles open: complete events ("X") of one
// process, in microseconds since the first, with a thread for each lane. The format is
// described in the document "Trace Event Format" of the Catapult project. It fails for
// no event.
func Trace(process string, events []Slice) ([]byte, error) {
	type args struct {
		Name  string `json:"name,omitempty"`
		Error string `json:"error,omitempty"`
	}
	type event struct {
		Name string `json:"name"`
		Cat  string `json:"cat,omitempty"`
		Ph   string `json:"ph"`
		TS   int64  `json:"ts"`
		Dur  *int64 `json:"dur,omitempty"`
		PID  int    `json:"pid"`
		TID  int    `json:"tid"`
		Args *args  `json:"args,omitempty"`
	}
	list := []event{{Name: "process_name", Ph: "M", PID: 1, Args: &args{Name: process}}}
	var zero time.Time
	for i, e := range events {
		if i == 0 || e.From.Before(zero) {
			zero = e.From
		}
	}
	for _, e := range events {
		long := max(0, e.To.Sub(e.From).Microseconds())
		x := event{Name: e.Category + " " + e.Name, Cat: e.Category, Ph: "X", TS: e.From.Sub(zero).Microseconds(),
			Dur: &long, PID: 1, TID: e.Lane + 1}
		if e.Error != "" {
			x.Args = &args{Error: e.Error}
		}
		list = append(list, x)
	}
	data, err := json.MarshalIndent(map[string]any{"displayTimeUnit": "ms", "traceEvents": list}, "", " ")
	return append(data, '\n'), err
}
