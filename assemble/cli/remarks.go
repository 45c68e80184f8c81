package cli

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"ripieno/assemble"
	"ripieno/assemble/fault"
	"ripieno/assemble/manifest"
	"ripieno/assemble/production"
	"ripieno/assemble/remark"
	"ripieno/assemble/remark/handout"
	"ripieno/assemble/remark/kept"
	"ripieno/assemble/session"
)

// remarksResult is what `remarks` prints.
type remarksResult struct {
	Taken     *remark.Taken  `json:"taken,omitempty"` // of a file that was taken in
	Remarks   []remark.At    `json:"remarks"`
	Approvals []remark.Stand `json:"approvals"`
}

// remarksVerb returns the verb remarks. It opens no store, since it makes nothing.
func (a *app) remarksVerb() *cobra.Command {
	var take, settle, reopen string
	c := &cobra.Command{
		Use: "remarks", Short: "list what was said of the film, and take in what a conductor sends back",
		Args: cobra.NoArgs,
		Long: `Lists the remarks on the film beside their measures, and who has approved which
version. They are kept in remarks.yaml, a line each; the desk makes them too, and
report and rollcall show those that are open.

With --take it adds what a conductor has saved in the page that
ripieno report --review wrote. A remark that is known already is not added again,
and nothing in the file is trusted: it is bounded, and what it says stays text.`,
		RunE: func(cmd *cobra.Command, _ []string) error {
			set, err := a.openSettings()
			if err != nil {
				return err
			}
			set.Report.Close() // nothing here takes long
			man, err := manifest.Load(set.Dir)
			if err != nil {
				return err
			}
			var r remarksResult
			switch {
			case take != "":
				r.Taken, err = takeRemarks(cmd.Context(), man, take)
			case settle != "":
				err = settleRemark(cmd.Context(), man, settle, true)
			case reopen != "":
				err = settleRemark(cmd.Context(), man, reopen, false)
			}
			if err != nil {
				return err
			}
			book, err := kept.Load(man.Dir)
			if err != nil {
				return err
			}
			r.Remarks = book.Beside(man.Tempo, remark.All)
			if r.Approvals,
				err = kept.Stands(book, cmp.Or(set.Out, filepath.Join(man.Dir, session.OutFolder))); err != nil {
				return err
			}
			return a.show(r, remarksTable(r))
		},
	}
	c.Flags().StringVar(&take, "take", "", "add the remarks of this `FILE`, which a conductor has sent back")
	c.Flags().StringVar(&settle, "settle", "", "say that the remark of this `ID` is settled")
	c.Flags().StringVar(&reopen, "reopen", "", "say that the remark of this `ID` is open again")
	c.MarkFlagsMutuallyExclusive("take", "settle", "reopen")
	return c
}

// takeRemarks adds the remarks of a file to those of the production. The file comes
// from outside. One byte more than allowed is read, by which ParseReturn knows that
// it is too large. names are the takes that a remark may be for.
func takeRemarks(ctx context.Context, man *production.Production, path string) (*remark.Taken, error) {
	// Opening a pipe would wait for whoever writes into it.
	if st, err := os.Stat(path); err == nil && st.Mode()&fs.ModeNamedPipe != 0 {
		return nil, fault.New(fault.Manifest, path, "this is a pipe, and no file of remarks", "save it to a file first")
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, fault.New(fault.Manifest, path, "the file cannot be read", "").Because(systemReason(err))
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, remark.MostReturnBytes+1))
	if err != nil {
		return nil, fault.New(fault.Manifest, path, "the file cannot be read", "").Because(systemReason(err))
	}
	said, err := remark.ParseReturn(path, data)
	if err != nil {
		return nil, err
	}
	var names []string
	for _, t := range man.Takes {
		names = append(names, t.Name)
	}
	var taken remark.Taken
	err = kept.Change(ctx, man.Dir, func(b *remark.Book) (err error) {
		taken, err = b.Take(said, man.Tempo, man.Title, names)
		return err
	})
	return &taken, err
}

// settleRemark says of a remark whether it is settled. An ID that nobody has is a
// fault, so that a slip does not pass for done.
func settleRemark(ctx context.Context, man *production.Production, id string, settled bool) error {
	return kept.Change(ctx, man.Dir, func(b *remark.Book) error {
		if !b.Settle(id, settled) {
			return fault.New(fault.Manifest, remark.FileName, fmt.Sprintf("there is no remark %q", id),
				"`ripieno remarks` lists them with their IDs")
		}
		return nil
	})
}

// remarksTable prints all remarks and approvals.
func remarksTable(r remarksResult) func(io.Writer) {
	return func(w io.Writer) {
		if t := r.Taken; t != nil {
			fmt.Fprintf(w, "%s added, %d known already\n", count(t.Added, "remark"), t.Known)
			for _, n := range t.Notes {
				fmt.Fprintf(w, "note: %s\n", escapeLine(n))
			}
		}
		if len(r.Remarks) == 0 {
			fmt.Fprintln(w, "no remarks")
		}
		table(w, func(row func(...any)) {
			for _, s := range r.Remarks {
				state := "open"
				if s.Settled {
					state = "settled"
				}
				row(state, s.ID, s.Place, clock(s.Time), whom(s.Remark), escapeLine(s.Text))
			}
		})
		tellApprovals(w, r.Approvals)
	}
}

// tellRemarks prints open remarks and approvals below another table.
func tellRemarks(w io.Writer, open []remark.At, stands []remark.Stand) {
	for _, r := range open {
		fmt.Fprintf(w, "remark at %s (%s): %s\n", r.Place, whom(r.Remark), escapeLine(r.Text))
	}
	tellApprovals(w, stands)
}

// tellApprovals prints who has approved what.
func tellApprovals(w io.Writer, stands []remark.Stand) {
	for _, s := range stands {
		fmt.Fprintln(w, escapeLine(s.String()))
	}
}

// whom says for whom a remark is and by whom.
func whom(r remark.Remark) string {
	text := "for all"
	if r.For != "" {
		text = "for " + r.For
	}
	if r.By != "" {
		text += ", by " + r.By
	}
	return escapeLine(text)
}

// writeHandout writes the page that a conductor opens without a server.
func (a *app) writeHandout(cmd *cobra.Command, p *assemble.Production) (func() error, error) {
	r, err := handout.Write(cmd.Context(), p.Session)
	return withVerdict(a, r, handoutTable, err, nil)
}

// handoutTable says where the page is and what is in it.
func handoutTable(r handout.Result) func(io.Writer) {
	return func(w io.Writer) {
		fmt.Fprintf(w, "wrote %s (%.1f MB): the rough cut in %d lines, %d kbit/s, with its sound\n", r.File,
			float64(r.Bytes)/1e6, r.Lines, r.Rate/1000)
		fmt.Fprintln(w, "send it as it is; what comes back is taken in with ripieno remarks --take FILE")
	}
}
