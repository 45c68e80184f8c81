package assemble

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"ripieno/assemble/fault"
	"ripieno/assemble/manifest"
	"ripieno/assemble/media"
	"ripieno/assemble/plan"
	"ripieno/assemble/store"
	"ripieno/layout/card"
)

// maxAsset bounds the file of a font or a picture, in bytes. Collections of
// fonts for Chinese, Japanese and Korean take 20 to 30 MB.
const maxAsset = 64 << 20

// look is what drawings are made with, and what their keys know it by.
type look struct {
	plan.Look
	fontID store.ID // of all font files; zero for none
}

// readLook reads the files that drawings need. Unlike a take, one that cannot
// be used stops the run: nobody wants a film with other lettering.
func (p *Production) readLook(ctx context.Context) error {
	p.look = look{}
	return p.readFonts(ctx)
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
		if f.Hint != "" && strings.HasPrefix(f.Hint, "did you mean") {
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
