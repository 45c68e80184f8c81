package cli

import (
	"context"
	"errors"
	"io"

	"github.com/spf13/cobra"

	"ripieno/assemble"
	"ripieno/assemble/fault"
	"ripieno/assemble/roll"
)

// work does what a verb is for and returns how to print the result, which may
// be there beside an error. Printing waits until the production is closed: by then
// the progress line is gone, and other runs need not wait for a slow terminal.
type work func(cmd *cobra.Command, p *assemble.Production) (show func() error, err error)

// verb builds a command that works on the production in --dir. What was found is
// shown although the verb has a verdict to tell: the table of a check that finds
// faults is the point of it.
func (a *app) verb(use, short, long string, run work) *cobra.Command {
	return &cobra.Command{
		Use: use, Short: short, Long: long, Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			var show func() error
			err := a.withProduction(cmd.Context(), func(p *assemble.Production) (err error) {
				show, err = run(cmd, p)
				return err
			})
			if show != nil {
				err = errors.Join(show(), err)
			}
			return err
		},
	}
}

// withProduction opens the production, lets work use it and closes it, so that the
// progress line is gone before the result is printed. The folder is locked as long as
// work runs: two runs of one production never meet.
func (a *app) withProduction(ctx context.Context, work func(*assemble.Production) error) error {
	set, err := a.openSettings()
	if err != nil {
		return err
	}
	defer set.Report.Close()
	p, err := assemble.Open(ctx, set)
	if err != nil {
		return err
	}
	defer p.Close()
	// The profile of an interrupted run is wanted most of all, so it is written
	// without the run's context.
	return errors.Join(work(p), p.WriteProfile(context.WithoutCancel(ctx)))
}

// withVerdict returns how to print a verb's result, and the verdict on the takes as
// the error. A verb that failed prints nothing.
func withVerdict[R any](a *app, r R, table func(R) func(io.Writer), err, verdict error) (func() error, error) {
	if err != nil {
		return nil, err
	}
	return func() error { return a.show(r, table(r)) }, verdict
}

// checkVerb returns the verb check.
func (a *app) checkVerb() *cobra.Command {
	return a.verb("check", "say what is wrong with the takes and what to ask for",
		`Looks at every take that the manifest lists and says in plain words what is
wrong with it, how sure that is, and what to ask the player for. Nothing is
changed. ripieno keys --thresholds lists its thresholds; check: in the manifest
changes them.`,
		func(cmd *cobra.Command, p *assemble.Production) (func() error, error) {
			r, err := p.Check(cmd.Context())
			return withVerdict(a, r, checkTable, err, roll.Verdict(r.Faults))
		})
}

// syncVerb returns the verb sync.
func (a *app) syncVerb() *cobra.Command {
	var o assemble.SyncOptions
	var accept []string
	c := a.verb("sync", "find where every recording starts against the guide",
		`Finds the clap on the cue and the playing in every recording, writes what it
measured to sync.yaml and shows how sure it is. out/sync.png shows every take
around the clap and three downbeats: a take that is a beat off stands beside the
others. offset: and cue_at: in the manifest override what is measured. A
recording that sync is not sure of needs review: it is left out of the film until
you decide. One that was sure before stays so when more takes come, as long as
sync.yaml is there to tell; what they leave open is said. The likeliest places are
listed with the seconds of the clap or first note. With --snippets each is written
as a short sound, out/snippets/TAKE-ROLE-N.wav: the guide's clicks in the left ear,
the take in the right. Then accept one,

  ripieno sync --accept horn-2=1

which writes it into production.yaml, or say where the clap is:

  video: {file: intake/mara.mov, cue_at: 11.48}   # seconds in that file

The lateness of a player against their own clap is removed, or kept with
timing: as-played in the manifest, for all or for one take.`,
		func(cmd *cobra.Command, p *assemble.Production) (func() error, error) {
			for _, text := range accept {
				c, err := assemble.ParseChoice(text)
				if err != nil {
					return nil, err
				}
				o.Accept = append(o.Accept, c)
			}
			r, err := p.Sync(cmd.Context(), o)
			return withVerdict(a, r, syncTable, err, roll.SyncVerdict(r.Faults))
		})
	c.Flags().BoolVar(&o.Pin, "pin", false,
		"copy the measured values into production.yaml, changing nothing else in it")
	c.Flags().StringSliceVar(&accept, "accept", nil,
		"write a candidate into production.yaml: TAKE, TAKE=2 or TAKE/audio=2")
	c.Flags().BoolVar(&o.Snippets, "snippets", false,
		"write the candidates of takes that need review as sounds to compare with the click")
	return c
}

// gridVerb returns the verb grid. Seats are pinned before the plan is drawn, so
// that it shows what the manifest says then.
func (a *app) gridVerb() *cobra.Command {
	var sheet, pin, seats bool
	c := a.verb("grid", "draw the layout of every shot",
		`Plans the layout of every shot of every deliverable and draws it as
out/grid-NAME.png and out/grid-NAME.svg. It reads no sound and needs no sync.
With --sheet it does, and draws a storyboard with real frames,
out/sheet-NAME.png. All show the finished film: whoever is not in yet has no
tile, unless you ask for --seats.

With --pin it writes the seats that the plan shows into production.yaml. From
then on a new player, wherever you write the line, moves as few others as
possible.`,
		func(cmd *cobra.Command, p *assemble.Production) (func() error, error) {
			pinned := 0
			if pin {
				var err error
				if pinned, err = p.PinSeats(cmd.Context()); err != nil {
					return nil, err
				}
			}
			grid := p.Grid
			switch {
			case sheet:
				grid = p.Sheet
			case seats:
				grid = p.SeatPlan
			}
			r, err := grid(cmd.Context())
			if err != nil {
				return nil, err
			}
			r.Pinned = pinned
			return func() error { return a.show(r, gridTable(r)) }, roll.Verdict(r.Faults)
		})
	c.Flags().BoolVar(&pin, "pin", false, "write everybody's seat into production.yaml, changing nothing else in it")
	c.Flags().BoolVar(&seats, "seats", false, "keep the seats of those who are still to come, as rough cuts do")
	c.Flags().BoolVar(&sheet, "sheet", false, "also draw a storyboard: every shot with real frames of the takes")
	c.MarkFlagsMutuallyExclusive("seats", "sheet")
	return c
}

// mixVerb returns the verb mix.
func (a *app) mixVerb() *cobra.Command {
	var o assemble.MixOptions
	c := a.verb("mix", "mix the sound",
		`Trims, balances, pans and adds all takes, brings the sum to the loudness of the
manifest under its true-peak ceiling and writes out/master.wav (24-bit, 48 kHz,
a broadcast wave whose time reference is its place on guide time) and a picture
of the levels, out/levels.png.

With --stems, every take and every section gets a file of its own in out/stems:
as loud, in its place and with its share of the room as in the mix, before
mastering, in 32-bit float, all beginning at guide time 0.

With --stages, out/stages has 20 seconds around the first note after every step
of the mix, all equally loud: each file is to be compared with the one before it.`,
		func(cmd *cobra.Command, p *assemble.Production) (func() error, error) {
			r, err := p.Mix(cmd.Context(), o)
			return withVerdict(a, r, mixTable, err, roll.Verdict(r.Faults))
		})
	c.Flags().BoolVar(&o.Stems, "stems", false, "also write a file for each take and each section")
	c.Flags().BoolVar(&o.Stages, "stages", false, "also write 20 seconds of the sound after every step, to compare")
	return c
}

// roughVerb returns the verb rough.
func (a *app) roughVerb() *cobra.Command {
	var only []string
	var marks, quick bool
	c := a.verb("rough", "make the rough cut",
		`Makes a small, quick film of every deliverable (540 lines) to look at and to
show, as out/rough.mp4 for the first and out/rough-NAME.mp4 for the others.
Players are looked for only where a tile cuts their picture, so a name may stand
in another corner than in the finished film.

With --quick it makes out/quick.mp4 at a fraction of the cost: who is in and how
the mix sounds. Each picture stays for up to a second, and longer where a recording
has no key frame; the film says that it is a first look.`,
		func(cmd *cobra.Command, p *assemble.Production) (func() error, error) {
			r, err := p.Render(cmd.Context(), assemble.RenderOptions{Rough: true, Only: only, Marks: marks,
				Quick: quick})
			return withVerdict(a, r, renderTable, err, roll.Verdict(r.Faults))
		})
	c.Flags().StringSliceVar(&only, "only", nil, "names of the deliverables to make (default: the first)")
	c.Flags().BoolVar(&quick, "quick", false, "make a first look instead, of a few pictures a second")
	c.Flags().BoolVar(&marks, "marks", false, "burn measure, beat and guide time into the upper right corner")
	return c
}

// renderVerb returns the verb render. Three of its flags make no films but look: at
// what would run, at a key, at whether a second run gives the same bytes.
func (a *app) renderVerb() *cobra.Command {
	var only []string
	var plan, verify, allow bool
	var explain string
	c := a.verb("render", "make the finished films",
		`Makes every deliverable of the manifest as out/NAME.mp4: H.264, or HEVC or
AV1 by its codec:, BT.709, AAC. A film gets its name only after it has been
checked. Results that a change does not affect come from the cache.

--encoder hardware lets the graphics device encode, which is faster and never
writes the same bytes twice; auto does so where it works. The result names the
encoder.

Nothing is made until the manifest says for every player what may be published:
write release: yes, audio-only or no under the take, or release: yes above takes
for all.`,
		func(cmd *cobra.Command, p *assemble.Production) (func() error, error) {
			switch {
			case plan && verify || (plan || verify) && explain != "":
				return nil, fault.New(fault.Manifest, "", "--plan, --verify and --explain-key exclude each other",
					"use one of them")
			case explain != "":
				r, err := p.Explain(cmd.Context(), explain)
				if err != nil {
					return nil, err
				}
				return func() error { return a.show(r, explainTable(r)) }, nil
			// What differs is shown although verifying failed further on.
			case verify:
				r, err := p.Verify(cmd.Context(), assemble.RenderOptions{Only: only})
				return func() error { return a.show(r, verifyTable(r)) }, errors.Join(err, roll.Verdict(r.Faults))
			case plan:
				r, err := p.Plan(cmd.Context(), assemble.RenderOptions{Only: only})
				if err != nil {
					return nil, err
				}
				return func() error { return a.show(r, planTable(r)) }, nil
			}
			r, err := p.Render(cmd.Context(), assemble.RenderOptions{Only: only, AllowMissingRelease: allow})
			return withVerdict(a, r, renderTable, err, roll.Verdict(r.Faults))
		})
	c.Flags().StringSliceVar(&only, "only", nil, "names of the deliverables to make (default: all)")
	c.Flags().BoolVar(&plan, "plan", false, "print what would be made and why, and make nothing")
	c.Flags().BoolVar(&verify, "verify", false,
		"make everything again, compare it with the cache and deliver nothing")
	c.Flags().BoolVar(&allow, "allow-missing-release", false,
		"make the films although releases are missing; takes with release: no stay out")
	c.Flags().StringVar(&explain, "explain-key", "", "print what is stored under the `KEY` that begins like this")
	return c
}

// cleanVerb returns the verb clean.
func (a *app) cleanVerb() *cobra.Command {
	var keep string
	c := a.verb("clean", "remove what can be computed again",
		`Empties the production's store (.ripieno), or with --keep only what was not used
for longest, until the rest fits. Takes, the manifest, sync.yaml, guide.yaml and
the finished films stay.`,
		func(cmd *cobra.Command, p *assemble.Production) (func() error, error) {
			clean := p.Clean
			if cmd.Flags().Changed("keep") {
				n, ok := parseSize(keep)
				if !ok {
					return nil, badSize("keep", keep)
				}
				clean = func(ctx context.Context) (assemble.CleanResult, error) { return p.Trim(ctx, n) }
			}
			r, err := clean(cmd.Context())
			if err != nil {
				return nil, err
			}
			return func() error { return a.show(r, cleanTable(r)) }, nil
		})
	c.Flags().StringVar(&keep, "keep", "", "the `SIZE` to keep, such as 10GB")
	return c
}

// newVerb returns the verb new. There is no production to open yet.
func (a *app) newVerb() *cobra.Command {
	var o assemble.NewOptions
	c := &cobra.Command{
		Use: "new", Short: "write a first production.yaml", Args: cobra.NoArgs,
		Long: `Looks through the folder (and the folders in it) for recordings and writes a
production.yaml with one take for each player, guessing names and parts from the
file names. The tempo is from the score when there is one (MIDI or MusicXML). It
lists what it could not guess. An existing manifest is never overwritten.

Before there are any takes, --empty writes the manifest that ripieno click and
callsheet need. --roster adds everybody of a list as a take that is still to come:
a spreadsheet saved as CSV, one person a row, whose first row names the columns
(name, part, section, e-mail, language, release; only the name is needed).`,
		RunE: func(cmd *cobra.Command, _ []string) error {
			set, err := a.openSettings()
			if err != nil {
				return err
			}
			r, err := assemble.New(cmd.Context(), set, o)
			set.Report.Close()
			if err != nil {
				return err
			}
			return a.show(r, newTable(r))
		},
	}
	c.Flags().StringVar(&o.Title, "title", "", "title of the piece")
	c.Flags().BoolVar(&o.Empty, "empty", false, "write a manifest before there are any takes; look for none")
	c.Flags().StringVar(&o.Roster, "roster", "", "add the players of this CSV `FILE` as takes still to come")
	return c
}

// demoVerb returns the verb demo. The folder is its argument, since --dir is the
// folder of a production that is there.
func (a *app) demoVerb() *cobra.Command {
	return &cobra.Command{
		Use: "demo [DIR]", Short: "make a whole production of our own invention and its film",
		Args: cobra.MaximumNArgs(1),
		Long: `Makes a production with invented players in DIR (default: lamplighter): takes as
phones and microphones record them, with the truth about their timing kept
beside them. Then it runs check, sync, grid, rough and render, prints how far
sync was from the truth and says where the film is. Run it again in the same
folder and it continues where it was.`,
		RunE: func(cmd *cobra.Command, args []string) error {
			set, err := a.openSettings()
			if err != nil {
				return err
			}
			set.Dir = "lamplighter"
			if len(args) == 1 {
				set.Dir = args[0]
			} else if cmd.Flags().Changed("dir") {
				return fault.New(fault.Manifest, "", "demo takes its folder as an argument, not as --dir",
					"ripieno demo DIR")
			}
			r, err := assemble.Demo(cmd.Context(), set)
			set.Report.Close()
			if err != nil {
				return err
			}
			return a.show(r, demoTable(r))
		},
	}
}
