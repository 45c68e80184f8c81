package manifest

import (
	"errors"
	"math/rand/v2"
	"regexp"
	"strings"
	"testing"

	"ripieno/assemble/fault"
)

// TestPinSeatsStyles shows what is written in each style a person may use.
func TestPinSeatsStyles(t *testing.T) {
	seats := map[string]int{"a": 2, "b": 1}
	for _, c := range []struct{ name, before, after string }{
		{"braces", "# all\ntakes:\n- {name: a, expected: true} # x\n- {expected: true, name: 'b'}\n",
			"# all\nseats: 2\ntakes:\n- {name: a, seat: 2, expected: true} # x\n- {expected: true, name: 'b', " +
				"seat: 1}\n"},
		{"lines", "takes:\n  - name: a   # first\n    expected: true\n  - expected: true\n    name: b\n\nmix: " +
			"{room: 0}\n",
			"seats: 2\ntakes:\n  - name: a   # first\n    seat: 2\n    expected: true\n  - expected: true\n    name: " +
				"b\n    seat: 1\n\nmix: {room: 0}\n"},
		{"lines with an indent of their own", "takes:\n-   name: a\n    expected: true\n-\n  name: b\n  expected: true",
			"seats: 2\ntakes:\n-   name: a\n    seat: 2\n    expected: true\n-\n  name: b\n  seat: 1\n  " +
				"expected: true"},
		{"lines of Windows", "takes:\r\n- name: a\r\n  expected: true\r\n",
			"seats: 2\r\ntakes:\r\n- name: a\r\n  seat: 2\r\n  expected: true\r\n"},
		{"a seat of the person's", "seats: 5\ntakes:\n- {name: a, seat: 4, expected: true}\n- {name: b, " +
			"expected: true}\n",
			"seats: 5\ntakes:\n- {name: a, seat: 4, expected: true}\n- {name: b, seat: 1, expected: true}\n"},
		{"json", "takes: [{\"name\":\"a\",\"expected\":true},\n {\"name\":\"b\",\"expected\":true}]\n",
			"seats: 2\ntakes: [{\"name\":\"a\", \"seat\": 2,\"expected\":true},\n {\"name\":\"b\", \"seat\": " +
				"1,\"expected\":true}]\n"},
		{"question marks", "takes:\n- ? name\n  : a\n  ? expected\n  : true\n",
			"seats: 2\ntakes:\n- seat: 2\n  ? name\n  : a\n  ? expected\n  : true\n"},
	} {
		got, err := PinSeats([]byte(head+c.before), nil, seats, 2)
		if err != nil {
			t.Errorf("%s: %s", c.name, fault.Format(err))
		} else if string(got) != head+c.after {
			t.Errorf("%s\ngot\n%s\nwant\n%s", c.name, got[len(head):], c.after)
		}
	}
	whole := `{"version":1,"title":"x","tempo":{"changes":[{"measure":1,"meter":"4/4","bpm":120}],"measures":8},"takes":[{"name":"a","expected":true}]}`
	got, err := PinSeats([]byte(whole), nil, seats, 2)
	if want := strings.Replace(strings.Replace(whole, `"takes"`, `"seats": 2, "takes"`, 1), `"a"`, `"a", "seat": 2`,
		1); err != nil || string(got) != want {
		t.Errorf("a whole file in JSON: %v\n%s", err, got)
	}
}

func TestPinSeatsRefused(t *testing.T) {
	const text = head + "takes:\n- {name: a, expected: true}\n"
	for _, c := range []struct {
		data  string
		seats map[string]int
		count int
		want  string
	}{
		{text, map[string]int{"a": 0}, 1, "seat 0 is out of range"},
		{text, map[string]int{"a": 1}, 1201, "seats 1201 is out of range"},
		{"version: 1\n", nil, 1, `missing key "title" in the manifest`},
	} {
		if _, err := PinSeats([]byte(c.data), nil, c.seats, c.count); err == nil ||
			!strings.Contains(err.Error(), c.want) {
			t.Errorf("%v, want %q", err, c.want)
		}
	}
}

var seatForm = regexp.MustCompile(`(?:\r?\n *|, )"?seats?"?: [0-9]+|seats?: [0-9]+(?:\r?\n *|, )`)

// TestPinSeatsAnyStyle: in hundreds of files of all styles the seats read back,
// everything else reads as before, and without what was put in the file is the
// old one, byte for byte.
func TestPinSeatsAnyStyle(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 4))
	for range 300 {
		text, _ := style{rng}.manifest()
		before := parse(t, text)
		seats := map[string]int{}
		for i, n := range rng.Perm(len(before.Takes)) {
			seats[before.Takes[i].Name] = n + 1
		}
		out, err := PinSeats([]byte(text), before, seats, len(seats))
		if err != nil {
			t.Fatalf("%s\n%s", fault.Format(err), text)
		}
		if bare := seatForm.ReplaceAllString(string(out), ""); bare != text {
			t.Fatalf("%s\nbecame\n%s", text, out)
		}
		after := parse(t, string(out))
		if after.Seats != len(seats) {
			t.Fatalf("%d seats, want %d\n%s", after.Seats, len(seats), out)
		}
		after.Seats = 0
		for i, take := range after.Takes {
			if take.Seat != seats[take.Name] {
				t.Fatalf("take %s has seat %d, want %d\n%s", take.Name, take.Seat, seats[take.Name], out)
			}
			after.Takes[i].Seat = 0
		}
		if a, b := unmarked(t, before), unmarked(t, after); a != b {
			t.Fatalf("%s\nbecame\n%s", a, b)
		}
		if again, err := PinSeats(out, nil, map[string]int{}, 99); err != nil || string(again) != string(out) {
			t.Fatalf("pinned again: %v\n%s\n%s", err, out, again)
		}
	}
}

// FuzzPinSeats: in every manifest that reads and has no seats, seats can be
// written, or there is a fault that says why not; what comes out reads back
// with them and otherwise as before.
func FuzzPinSeats(f *testing.F) {
	f.Add([]byte(head + "takes:\n- {name: a, expected: true}\n- name: b\n  video: {file: b.mov}\n"))
	f.Add([]byte(head + "\"takes\": [{\"name\":\"a\",\"expected\":true}]\r\n"))
	f.Add([]byte(head + "? takes\n: - name: |-\n      a\n    expected: true\n"))
	f.Add(readFile(f, "testdata/lamplighter.yaml"))
	f.Fuzz(func(t *testing.T, data []byte) {
		p, err := Parse("production.yaml", data)
		if err != nil || p.Seats > 0 || len(p.Takes) == 0 || len(p.Takes) > 500 {
			return
		}
		seats := map[string]int{}
		for i, x := range p.Takes {
			if x.Seat > 0 {
				return
			}
			seats[x.Name] = len(p.Takes) - i
		}
		out, err := PinSeats(data, p, seats, len(seats))
		if err != nil {
			var one *fault.Fault
			if !errors.As(err, &one) {
				t.Fatalf("%v\n%s", err, data)
			}
			return
		}
		again := parse(t, string(out))
		for i, x := range again.Takes {
			if x.Seat != seats[x.Name] {
				t.Fatalf("take %q has seat %d, want %d\n%s", x.Name, x.Seat, seats[x.Name], out)
			}
			again.Takes[i].Seat = 0
		}
		if again.Seats != len(seats) {
			t.Fatalf("%d seats\n%s", again.Seats, out)
		}
		again.Seats = 0
		if a, b := unmarked(t, p), unmarked(t, again); a != b {
			t.Fatalf("%s\nbecame\n%s", a, b)
		}
	})
}
