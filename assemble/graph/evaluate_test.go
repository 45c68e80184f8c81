package graph

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"
	"unicode"

	ffmpeg "github.com/u2takey/ffmpeg-go"
)

// expression reads the expressions of ffmpeg's filters that this package writes, as
// ffmpeg's own documentation (ffmpeg-utils, Expression Evaluation) explains them.
type expression struct {
	text string
	at   int
	vars map[string]float64
}

// evaluate returns the value of an expression of ffmpeg.
func evaluate(t *testing.T, text string, vars map[string]float64) float64 {
	t.Helper()
	e := &expression{text: strings.ReplaceAll(strings.ReplaceAll(text, `\,`, ","), " ", ""), vars: vars}
	v, err := e.sum()
	if err == nil && e.at < len(e.text) {
		err = fmt.Errorf("%q is left", e.text[e.at:])
	}
	if err != nil {
		t.Fatalf("%s: %v", text, err)
	}
	return v
}

// next takes one of some characters, 0 when none comes.
func (e *expression) next(of string) byte {
	if e.at < len(e.text) && strings.IndexByte(of, e.text[e.at]) >= 0 {
		e.at++
		return e.text[e.at-1]
	}
	return 0
}

func (e *expression) sum() (float64, error) {
	v, err := e.product()
	for err == nil {
		sign := e.next("+-")
		if sign == 0 {
			break
		}
		var w float64
		if w, err = e.product(); sign == '-' {
			w = -w
		}
		v += w
	}
	return v, err
}

func (e *expression) product() (float64, error) {
	v, err := e.factor()
	for err == nil {
		sign := e.next("*/")
		if sign == 0 {
			break
		}
		var w float64
		if w, err = e.factor(); sign == '/' {
			w = 1 / w
		}
		v *= w
	}
	return v, err
}

func (e *expression) factor() (float64, error) {
	switch {
	case e.next("-") != 0:
		v, err := e.factor()
		return -v, err
	case e.next("+") != 0:
		return e.factor()
	case e.next("(") != 0:
		v, err := e.sum()
		if err == nil && e.next(")") == 0 {
			err = fmt.Errorf("no ) at %d", e.at)
		}
		return v, err
	}
	from := e.at
	for e.at < len(e.text) && (unicode.IsLetter(rune(e.text[e.at])) || unicode.IsDigit(rune(e.text[e.at])) ||
		e.text[e.at] == '.' || e.text[e.at] == '_') {
		e.at++
	}
	word := e.text[from:e.at]
	if v, err := strconv.ParseFloat(word, 64); err == nil {
		return v, nil
	}
	if e.next("(") == 0 {
		v, ok := e.vars[word]
		if !ok {
			return 0, fmt.Errorf("unknown %q", word)
		}
		return v, nil
	}
	var args []float64
	for {
		v, err := e.sum()
		if err != nil {
			return 0, err
		}
		args = append(args, v)
		if e.next(",") == 0 {
			break
		}
	}
	if e.next(")") == 0 {
		return 0, fmt.Errorf("no ) behind the arguments of %s", word)
	}
	return call(word, args)
}

// call returns the value of a function of ffmpeg's expressions.
func call(name string, x []float64) (float64, error) {
	truth := func(b bool) (float64, error) {
		if b {
			return 1, nil
		}
		return 0, nil
	}
	switch fmt.Sprint(name, len(x)) {
	case "clip3":
		return math.Min(math.Max(x[0], x[1]), x[2]), nil
	case "round1":
		return math.Round(x[0]), nil
	case "floor1":
		return math.Floor(x[0]), nil
	case "abs1":
		return math.Abs(x[0]), nil
	case "min2":
		return math.Min(x[0], x[1]), nil
	case "gte2":
		return truth(x[0] >= x[1])
	case "lt2":
		return truth(x[0] < x[1])
	case "eq2":
		return truth(x[0] == x[1])
	case "if3":
		if x[0] != 0 {
			return x[1], nil
		}
		return x[2], nil
	}
	return 0, fmt.Errorf("no function %s of %d arguments", name, len(x))
}

// ffmpegStream is a stream of the graph that is built.
type ffmpegStream = ffmpeg.Stream

// output ends a stream in a file.
func output(s *ffmpegStream) *ffmpegStream {
	return ffmpeg.Output([]*ffmpegStream{s}, "out", ffmpeg.KwArgs{"f": "null"})
}
