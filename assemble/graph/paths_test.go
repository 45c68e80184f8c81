package graph

import (
	"encoding/json"
	"fmt"
	"reflect"
	"strings"
	"testing"
)

// fill gives every field of v a value of its own, one element in every list.
func fill(v reflect.Value, n *int) {
	*n++
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			fill(v.Field(i), n)
		}
	case reflect.Pointer:
		v.Set(reflect.New(v.Type().Elem()))
		fill(v.Elem(), n)
	case reflect.Slice:
		v.Set(reflect.MakeSlice(v.Type(), 1, 1))
		fill(v.Index(0), n)
	case reflect.Array:
		for i := range v.Len() {
			fill(v.Index(i), n)
		}
	case reflect.String:
		v.SetString(fmt.Sprintf("text-%d", *n))
	case reflect.Int, reflect.Int64:
		v.SetInt(int64(*n))
	case reflect.Uint8:
		v.SetUint(uint64(*n % 256))
	case reflect.Float64:
		v.SetFloat(1 / float64(*n))
	case reflect.Bool:
		v.SetBool(true)
	default:
		panic("a segment has a field of a new kind: " + v.Kind().String())
	}
}

// texts returns all texts in v.
func texts(v reflect.Value) (list []string) {
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			list = append(list, texts(v.Field(i))...)
		}
	case reflect.Pointer:
		return texts(v.Elem())
	case reflect.Slice, reflect.Array:
		for i := range v.Len() {
			list = append(list, texts(v.Index(i))...)
		}
	case reflect.String:
		return []string{v.String()}
	}
	return list
}

// TestEveryFileOfASegmentIsRenamed fills a whole segment, renames its files and finds
// no name left of those before, but the one of what it writes; and the segment that
// was renamed is as it was.
func TestEveryFileOfASegmentIsRenamed(t *testing.T) {
	var g Segment
	n := 0
	fill(reflect.ValueOf(&g).Elem(), &n)
	before, err := json.Marshal(g)
	if err != nil {
		t.Fatal(err)
	}
	asked := 0
	got := g.Rename(func(path string) string { asked++; return "new-" + strings.TrimPrefix(path, "text-") })
	names := texts(reflect.ValueOf(got))
	if asked == 0 || len(names) != asked+1 {
		t.Fatalf("%d files of %d were asked for; a segment writes one", asked, len(names))
	}
	for _, name := range names {
		if !strings.HasPrefix(name, "new-") && name != g.Copy.Path {
			t.Errorf("%s is not renamed", name)
		}
	}
	if after, err := json.Marshal(g); err != nil || string(after) != string(before) {
		t.Errorf("the segment itself changed, %v", err)
	}
}

// TestASegmentSurvivesJSON: what is sent to another machine is what it composes.
func TestASegmentSurvivesJSON(t *testing.T) {
	var g, back Segment
	n := 0
	fill(reflect.ValueOf(&g).Elem(), &n)
	data, err := json.Marshal(g)
	if err == nil {
		err = json.Unmarshal(data, &back)
	}
	if err != nil || !reflect.DeepEqual(g, back) {
		t.Errorf("%+v comes back as %+v, %v", g, back, err)
	}
}
