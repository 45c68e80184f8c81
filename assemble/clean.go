package assemble

import (
	"context"
	"fmt"

	"ripieno/assemble/fault"
	"ripieno/assemble/session"
)

// Clean empties the store. Takes, the manifest, sync.yaml, guide.yaml and the
// finished films stay; the next run computes everything again. The production is taken,
// so no other run uses the store meanwhile.
func (p *Production) Clean(ctx context.Context) (CleanResult, error) {
	freed, err := p.Store().Clean(ctx)
	return CleanResult{Bytes: freed.Bytes, Entries: freed.Entries}, err
}

// Trim removes what was not used for longest until the store takes at most
// keep bytes, and whatever is damaged.
func (p *Production) Trim(ctx context.Context, keep int64) (CleanResult, error) {
	freed, err := p.Store().Trim(ctx, max(0, keep))
	return CleanResult{Bytes: freed.Bytes, Entries: freed.Entries}, err
}

// ExplainResult is what is stored under a key.
type ExplainResult struct {
	Key  string `json:"key"`
	Text string `json:"text"` // everything that makes the key, for people
}

// Explain tells what is stored under the key that begins with prefix. A beginning of
// digits is enough when only one key has it.
func (p *Production) Explain(ctx context.Context, prefix string) (ExplainResult, error) {
	id, err := p.Store().Find(ctx, prefix)
	if err != nil {
		return ExplainResult{}, fault.New(fault.Manifest, "", err.Error(),
			"`ripieno render --plan --json` lists the keys; write more of its digits, or fewer")
	}
	text, err := p.Store().Explain(ctx, id)
	return ExplainResult{Key: id.String(), Text: text}, err
}

// Differing is an output that came out otherwise when it was made again.
type Differing = session.Differing

// VerifyResult is what making everything again has shown.
type VerifyResult struct {
	Tasks     int         `json:"tasks"` // all of the films, stored or not
	Different []Differing `json:"different"`
	// Varying is how many of Tasks hardware has made, which never writes the
	// same bytes: they were made again and their frames counted, no more.
	Varying int   `json:"varying,omitempty"`
	Faults  []Bad `json:"faults,omitempty"`
}

// Verify makes every stored output of the films again and compares the bytes.
// A difference means that a key lacks an ingredient, that something is not
// reproducible or that ffmpeg has changed without its version; it is an error
// after everything has been compared. Nothing stored is changed and no film is
// delivered. Pictures that hardware has encoded are not compared, what was
// made of them is.
func (p *Production) Verify(ctx context.Context, o RenderOptions) (VerifyResult, error) {
	r := VerifyResult{Different: []Differing{}}
	wants, codings, err := wantedFilms(ctx, p, o)
	if err != nil {
		return r, err
	}
	again, differ := p.Verifying()
	// What is measured for the plan is made again too.
	verifying := &Production{again}
	all, err := verifying.locate(ctx)
	if err != nil {
		return r, err
	}
	var made RenderResult
	j, _, err := makeFilms(ctx, verifying, all, wants, codings, &made)
	if err != nil {
		return r, err
	}
	r.Tasks, r.Faults = len(j.tasks), j.faults
	for _, t := range j.tasks {
		if t.Action.Varies() && !differ.Has(t.ID) {
			r.Varying++
		}
	}
	r.Different = append(r.Different, differ.List...)
	if len(r.Different) > 0 {
		return r, fault.New(fault.Failed, "",
			fmt.Sprintf("%d of %d results differ when they are made again", len(r.Different), r.Tasks),
			"ripieno clean removes what is stored; please report it if it comes back")
	}
	return r, nil
}
