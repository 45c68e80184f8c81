package takes

import (
	"testing"

	"ripieno/assemble/media"
	"ripieno/assemble/production"
)

// TestWhoIsCut: a first look searches for players in pictures that stand in a film that lies,
// and the other way round; a squarish picture in a wide tile keeps nearly all of it. A
// picture counts as people see it, with its own turn and the manifest's.
func TestWhoIsCut(t *testing.T) {
	quarter, none := 90, 0
	for _, c := range []struct {
		w, h, turned int
		rotate       *int
		shape        [2]int
		want         bool
	}{
		{1920, 1080, 0, nil, [2]int{16, 9}, false},
		{1280, 720, 0, nil, [2]int{}, false},
		{640, 480, 0, nil, [2]int{16, 9}, false},
		{1080, 1920, 0, nil, [2]int{16, 9}, true},
		{1080, 1920, 0, nil, [2]int{9, 16}, false},
		{1920, 1080, 90, nil, [2]int{}, true},
		{1920, 1080, 90, &none, [2]int{}, false},
		{1920, 1080, 0, &quarter, [2]int{}, true},
		{1920, 1080, 0, nil, [2]int{1, 1}, true},
	} {
		r := &Recording{File: &production.File{Rotate: c.rotate},
			Info: media.Info{Video: &media.Video{W: c.w, H: c.h, Rotation: c.turned}}}
		tile := production.Aspect{AspectW: c.shape[0], AspectH: c.shape[1]}
		if got := r.isCut(production.Picture{Aspect: tile}); got != c.want {
			t.Errorf("%+v: cut is %v", c, got)
		}
	}
}
