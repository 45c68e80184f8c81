package desk

import (
	"context"
	"errors"
	"testing"
	"time"

	"ripieno/assemble/desk/audition"
)

// counting is work that tells of every row of stills it takes.
type counting struct {
	nobody
	strips chan string
}

func (c counting) Strip(_ context.Context, _ *audition.Placing, take string, _ float64) ([]byte, error) {
	c.strips <- take
	return []byte(take), nil
}

// TestOneCallAtATime: stills wait until a verb has ended, or until nobody wants them any
// more; a row that is known waits for nothing and is taken once.
func TestOneCallAtATime(t *testing.T) {
	work := counting{strips: make(chan string, 9)}
	d := &desk{work: work, strips: map[string][]byte{}, busy: make(chan struct{}, 1)}
	release, err := d.take(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	gone, leave := context.WithCancel(t.Context())
	leave()
	if _, err := d.strip(gone, nil, "oboe", 1); !errors.Is(err, context.Canceled) || len(work.strips) > 0 {
		t.Errorf("for somebody who has gone there is %v, and %d rows", err, len(work.strips))
	}
	type answer struct {
		data []byte
		err  error
	}
	answers := make(chan answer, 2)
	for range 2 {
		go func() {
			data, err := d.strip(t.Context(), nil, "horn", 1)
			answers <- answer{data, err}
		}()
	}
	select {
	case a := <-answers:
		t.Fatalf("while a verb runs there is %q, %v", a.data, a.err)
	case <-time.After(20 * time.Millisecond): // as long as it may be, nothing comes
	}
	release()
	for range 2 {
		if a := <-answers; string(a.data) != "horn" || a.err != nil {
			t.Errorf("after it there is %q, %v", a.data, a.err)
		}
	}
	if release, err = d.take(t.Context()); err != nil {
		t.Fatal(err)
	}
	defer release()
	if data, err := d.strip(gone, nil, "horn", 1); string(data) != "horn" || err != nil || len(work.strips) != 1 {
		t.Errorf("what is known is %q, %v, taken %d times", data, err, len(work.strips))
	}
}
