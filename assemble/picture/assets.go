package picture

import (
	"context"
	"errors"
	"fmt"
	"image"
	"image/color"
	"io"
	"os"
	"slices"
	"strings"
	"sync"

	"ripieno/assemble/fault"
	"ripieno/assemble/media"
	"ripieno/assemble/plan"
	"ripieno/assemble/store"
	"ripieno/layout"
	"ripieno/layout/card"
)

// maxAsset bounds the file of a font or a picture, in bytes. Collections of
// fonts for Chinese, Japanese and Korean take 20 to 30 MB.
const maxAsset = 64 << 20

// Asset is a file beside the takes that drawings need.
type Asset struct {
	Path string     // relative to the production's folder
	Mark fault.Mark // where the manifest names it
}

// Files are all such files of a production.
type Files struct {
	Dir        string // the production's folder
	Fonts      []Asset
	Backdrop   *Asset       // behind everything; nil for a colour
	Into       *color.NRGBA // the colour that Background runs into downwards; nil for none
	Background color.NRGBA  // below what is transparent in the backdrop
	Behind     []Asset      // pictures behind single takes
	Logo       *Asset       // above the title; nil for none
}

// Assets is what drawings are made with, and what their keys know it by. Keys hold
// hashes of the files and not their names, so a renamed picture makes nothing anew.
// It is safe for tasks that run at once.
type Assets struct {
	plan.Look
	fontID store.ID          // of all font files; zero for none
	stills map[string]*still // pictures by their file as the manifest names it
	logo   store.ID          // of the file; zero for none
	into   [2]color.NRGBA    // colours that run into each other behind everything; equal for none
	ground *still            // the one that is behind everything; nil for a colour
}

// still is a picture that stands behind something.
type still struct {
	image.Image
	id store.ID
	// Drawings of several segments ask for the same size at once.
	mu sync.Mutex
	// cut is the picture in the sizes it was asked for.
	cut map[layout.Canvas]*image.NRGBA
}

// cover returns the picture cut to a size, made once.
func (s *still) cover(c layout.Canvas, below color.NRGBA) *image.NRGBA {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.cut[c] == nil {
		s.cut[c] = card.Cover(s, c.W, c.H, below)
	}
	return s.cut[c]
}

// gradient returns a background of two colours in a size, made once.
func (s *still) gradient(c layout.Canvas, into [2]color.NRGBA) *image.NRGBA {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.cut[c] == nil {
		s.cut[c] = card.Gradient(c.W, c.H, into[0], into[1])
	}
	return s.cut[c]
}

// ensemble returns the blurred ensemble in a size, made once.
func (s *still) ensemble(c layout.Canvas, pictures []image.Image) *image.NRGBA {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.cut[c] == nil {
		s.cut[c] = card.Ensemble(pictures, c.W, c.H)
	}
	return s.cut[c]
}

// Blur makes pictures of the players the ground of everything, blurred until nobody is to
// be recognised; id is what drawings know them by. Without pictures nothing changes.
// It must be called before anything is planned with a. The ground goes into keys by
// id, and not by what it looks like: id must change with the pictures.
func (a *Assets) Blur(pictures []image.Image, id store.ID) {
	if len(pictures) == 0 {
		return
	}
	a.ground = &still{id: id, cut: map[layout.Canvas]*image.NRGBA{}}
	a.Backdrop = func(c layout.Canvas) *image.NRGBA { return a.ground.ensemble(c, pictures) }
}

// ReadAssets reads the files that drawings need. Unlike a take, one that cannot
// be used stops the run: nobody wants a film with other lettering.
func ReadAssets(ctx context.Context, f Files) (*Assets, error) {
	a := &Assets{stills: map[string]*still{}}
	if err := a.readFonts(ctx, f.Dir, f.Fonts); err != nil {
		return nil, err
	}
	var list fault.List
	if f.Backdrop != nil {
		list.Add(a.readStill(ctx, "background", f.Dir, *f.Backdrop))
		a.ground = a.stills[f.Backdrop.Path]
		a.Backdrop = func(c layout.Canvas) *image.NRGBA { return a.ground.cover(c, f.Background) }
	}
	if f.Logo != nil {
		list.Add(a.readStill(ctx, "logo", f.Dir, *f.Logo))
		// One that could not be read is in list already.
		if s := a.stills[f.Logo.Path]; s != nil {
			a.Look.Logo, a.logo = s.Image, s.id
		}
	}
	if f.Into != nil {
		a.into = [2]color.NRGBA{f.Background, *f.Into}
		made := &still{cut: map[layout.Canvas]*image.NRGBA{}}
		a.Backdrop = func(c layout.Canvas) *image.NRGBA { return made.gradient(c, a.into) }
	}
	for _, b := range f.Behind {
		list.Add(a.readStill(ctx, "picture", f.Dir, b))
	}
	if err := list.Err(); err != nil {
		return nil, err
	}
	return a, nil
}

// readStill reads a picture file, once. A file that is named in several places is
// read and decoded once.
func (a *Assets) readStill(ctx context.Context, what, dir string, x Asset) *fault.Fault {
	if a.stills[x.Path] != nil {
		return nil
	}
	const hint = "a picture as cameras and drawing programs write it: .png or .jpg"
	data, err := x.read(ctx, dir)
	if err != nil {
		return x.unusable(what, hint, err)
	}
	img, err := media.DecodeStill(data)
	if err != nil {
		return x.unusable(what, hint, err)
	}
	a.stills[x.Path] = &still{Image: img, id: store.HashBytes(data), cut: map[layout.Canvas]*image.NRGBA{}}
	return nil
}

// groundArg adds the background picture to the key of a drawing.
func (a *Assets) groundArg(key store.Action) store.Action {
	if a.ground != nil {
		return key.Input("backdrop", a.ground.id)
	}
	if a.into[0] != a.into[1] {
		return key.Arg("gradient", a.into)
	}
	return key
}

// backdrop returns the background picture for a canvas; nil when it is a colour.
func (a *Assets) backdrop(c layout.Canvas) *image.NRGBA {
	if a.Backdrop == nil {
		return nil
	}
	return a.Backdrop(c)
}

// readFonts reads the manifest's fonts.
func (a *Assets) readFonts(ctx context.Context, dir string, fonts []Asset) error {
	if len(fonts) == 0 {
		return nil
	}
	var list fault.List
	files := make([][]byte, len(fonts))
	for i, x := range fonts {
		var err error
		if files[i], err = x.read(ctx, dir); err != nil {
			list.Add(x.unusable("font", fontFileHint, err))
		}
	}
	if err := list.Err(); err != nil {
		return err
	}
	parsed, err := card.ParseFonts(files...)
	var f *card.FontError
	if errors.As(err, &f) {
		return fonts[f.Index].unusable("font", fontFileHint, f.Err)
	} else if err != nil {
		return err
	}
	// The order of the files is part of it: the first that has a character draws it.
	a.Fonts, a.fontID = parsed, store.HashBytes(files...)
	return nil
}

const fontFileHint = "a TrueType or OpenType file: its name ends in .ttf, .otf or .ttc"

// read reads the file whole. One byte more than allowed is read, to see that there is
// more.
func (x Asset) read(ctx context.Context, dir string) ([]byte, error) {
	path, err := media.Resolve(dir, x.Path)
	if err != nil {
		return nil, err
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, maxAsset+1))
	switch {
	case err != nil:
		return nil, err
	case len(data) > maxAsset:
		return nil, fmt.Errorf("it is larger than %d MB", maxAsset>>20)
	}
	return data, ctx.Err()
}

// unusable returns the fault of an asset, at its place in the manifest.
func (x Asset) unusable(what, hint string, err error) *fault.Fault {
	return media.Unusable(what, hint, x.Path, x.Mark, err)
}

// fontArg adds the fonts to the key of a drawing of some texts. The embedded
// fonts come first, so a drawing that they have all characters for does not
// depend on others, and is not made again when one is named.
func (a *Assets) fontArg(key store.Action, texts ...string) store.Action {
	if slices.ContainsFunc(texts, card.HasHyphen) {
		key = key.Arg("hyphens", hyphenRule)
	}
	if a.Fonts == nil {
		return key
	}
	for _, t := range texts {
		if len(card.Missing(strings.ReplaceAll(t, "\n", " "))) > 0 {
			return key.Input("fonts", a.fontID)
		}
	}
	return key
}

// hyphenRule is the version of how hyphens in words are drawn. It is in keys of texts
// with a hyphen alone, so that raising it leaves all others.
const hyphenRule = 2

// wordsOf returns the texts of an overlay.
func wordsOf(o card.OverlayOptions) []string {
	var list []string
	for _, l := range o.Labels {
		list = append(list, l.Name, l.Part)
	}
	for _, h := range o.Placeholders {
		list = append(list, h.Name, h.Part, h.Note)
	}
	return list
}
