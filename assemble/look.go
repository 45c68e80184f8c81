package assemble

import (
	"context"
	"errors"
	"fmt"
	"image"
	"image/color"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"

	"ripieno/assemble/fault"
	"ripieno/assemble/manifest"
	"ripieno/assemble/media"
	"ripieno/assemble/plan"
	"ripieno/assemble/store"
	"ripieno/layout"
	"ripieno/layout/card"
)

// maxAsset bounds the file of a font or a picture, in bytes. Collections of
// fonts for Chinese, Japanese and Korean take 20 to 30 MB.
const maxAsset = 64 << 20

// look is what drawings are made with, and what their keys know it by.
type look struct {
	plan.Look
	fontID store.ID          // of all font files; zero for none
	stills map[string]*still // pictures by their file as the manifest names it
}

// still is a picture that stands behind something.
type still struct {
	image.Image
	id store.ID
	mu sync.Mutex
	// cut is the picture in the sizes it was asked for.
	cut map[layout.Canvas]*image.NRGBA
}

// cover is the picture cut to a size, made once.
func (s *still) cover(c layout.Canvas, below color.NRGBA) *image.NRGBA {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.cut[c] == nil {
		s.cut[c] = card.Cover(s, c.W, c.H, below)
	}
	return s.cut[c]
}

// readLook reads the files that drawings need. Unlike a take, one that cannot
// be used stops the run: nobody wants a film with other lettering.
func (p *Production) readLook(ctx context.Context) error {
	p.look = look{stills: map[string]*still{}}
	if err := p.readFonts(ctx); err != nil {
		return err
	}
	var list fault.List
	if a := p.man.Picture.Backdrop; a != nil {
		list.Add(p.readStill(ctx, "background", *a))
		p.look.Backdrop = func(c layout.Canvas) *image.NRGBA {
			return p.look.stills[a.Path].cover(c, plan.Background(p.man))
		}
	}
	for _, t := range p.man.Takes {
		if t.Backing != nil && !t.IsWithheld() {
			list.Add(p.readStill(ctx, "picture", *t.Backing))
		}
	}
	return list.Err()
}

// readStill reads a picture file, once.
func (p *Production) readStill(ctx context.Context, what string, a manifest.Asset) *fault.Fault {
	if p.look.stills[a.Path] != nil {
		return nil
	}
	const hint = "a picture as cameras and drawing programs write it: .png or .jpg"
	data, err := p.asset(ctx, a)
	if err != nil {
		return unusable(what, hint, a, err)
	}
	img, err := media.DecodeStill(data)
	if err != nil {
		return unusable(what, hint, a, err)
	}
	p.look.stills[a.Path] = &still{Image: img, id: store.HashBytes(data), cut: map[layout.Canvas]*image.NRGBA{}}
	return nil
}

// groundArg adds the background picture to the key of a drawing.
func (p *Production) groundArg(key store.Action) store.Action {
	if a := p.man.Picture.Backdrop; a != nil {
		return key.Input("backdrop", p.look.stills[a.Path].id)
	}
	return key
}

// ground is the background picture for a canvas; nil when it is a colour.
func (l look) ground(c layout.Canvas) *image.NRGBA {
	if l.Backdrop == nil {
		return nil
	}
	return l.Backdrop(c)
}

// readFonts reads the manifest's fonts.
func (p *Production) readFonts(ctx context.Context) error {
	fonts := p.man.Picture.Fonts
	if len(fonts) == 0 {
		return nil
	}
	var list fault.List
	files := make([][]byte, len(fonts))
	for i, a := range fonts {
		var err error
		if files[i], err = p.asset(ctx, a); err != nil {
			list.Add(unusable("font", fontFileHint, a, err))
		}
	}
	if err := list.Err(); err != nil {
		return err
	}
	parsed, err := card.ParseFonts(files...)
	var f *card.FontError
	if errors.As(err, &f) {
		return unusable("font", fontFileHint, fonts[f.Index], f.Err)
	} else if err != nil {
		return err
	}
	p.look.Fonts, p.look.fontID = parsed, store.HashBytes(files...)
	return nil
}

const fontFileHint = "a TrueType or OpenType file: its name ends in .ttf, .otf or .ttc"

// asset reads a file of the production whole.
func (p *Production) asset(ctx context.Context, a manifest.Asset) ([]byte, error) {
	path, err := media.Resolve(p.man.Dir, a.Path)
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

// unusable is the fault of a file that is not what the manifest takes it for.
func unusable(what, hint string, a manifest.Asset, err error) *fault.Fault {
	why := err.Error()
	var f *fault.Fault
	if errors.As(err, &f) {
		why = f.What
		// Another name is a help when it is a file of the same sort.
		if strings.HasPrefix(f.Hint, "did you mean") && strings.HasSuffix(strings.ToLower(f.Hint), strings.ToLower(filepath.Ext(a.Path))+`"?`) {
			hint = f.Hint
		}
	}
	return fault.At(fault.Media, a.Mark, fmt.Sprintf("the %s %q cannot be used: %s", what, a.Path, why), hint)
}

// fontArg adds the fonts to the key of a drawing of some texts. The embedded
// fonts come first, so a drawing that they have all characters for does not
// depend on others, and is not made again when one is named.
func (p *Production) fontArg(key store.Action, texts ...string) store.Action {
	if p.look.Fonts == nil {
		return key
	}
	for _, t := range texts {
		if len(card.Missing(strings.ReplaceAll(t, "\n", " "))) > 0 {
			return key.Input("fonts", p.look.fontID)
		}
	}
	return key
}

// wordsOf are the texts of an overlay.
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
