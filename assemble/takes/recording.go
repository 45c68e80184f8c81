package takes

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"

	"golang.org/x/sync/errgroup"

	"ripieno/assemble/fault"
	"ripieno/assemble/guide"
	"ripieno/assemble/intake"
	"ripieno/assemble/manifest"
	"ripieno/assemble/media"
	"ripieno/assemble/production"
	"ripieno/assemble/reading"
	"ripieno/assemble/session"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/layout/framing"
	"ripieno/mix/align"
	"ripieno/mix/audio"
)

// Role tells the files of a take apart.
type Role = production.Role

// The roles.
const (
	Video = production.Video
	Audio = production.Audio
)

// Recording is one file of a take.
type Recording struct {
	Owner string // the take's name
	Role  Role
	File  *production.File
	Path  string // absolute
	Hash  store.ID
	Info  media.Info
	Err   error // why the file cannot be used; the rest is then empty
	// Unseen is set for a video whose picture its player has not released.
	Unseen bool
	// stays is set for every file of a take whose picture its player has not released: no
	// other machine gets it. What is recorded as sound may have a picture too.
	stays bool

	// Sound is the task that decodes its sound to samples at its own rate, and puts its
	// parts together where it has several; zero without a sound.
	Sound task.Ref[string]
	// Parts are the stretches of the file that are one piece of time each; none for a
	// file that is one. Place is where their whole time lies.
	Parts audio.Parts
	// Rate is the true rate of a sound that is labelled wrongly, in hertz; 0: it is not.
	Rate int
	// PartsOfSound says that Parts are of its sound only, and its picture is whole.
	PartsOfSound bool
	// Broken is where the file is not one piece of time, mended or not.
	Broken []intake.Break
	// Features is what was heard of it; nil without a sound.
	Features *align.Features
	// Place is where it lies on guide time.
	Place align.Placement
	// Subject is where the player is, when the take asks for it.
	Subject *framing.Person

	// playedTo is the guide of before that it was played to, in words: what that
	// was made with and what the manifest says now. "" for none.
	playedTo string
	key      string // by what it is remembered; see [Set.remember]

	cuts    []float64 // file times at which its picture can be opened at no cost; none where no index tells
	holes   []media.Hole
	gain    [3]float64 // on the signal's channels, to match the light of the others; zero for none
	seconds float64    // file time at which its picture breaks off; 0: it does not
	short   error      // says so
	refs    refs
}

// refs are the tasks that measure a recording.
type refs struct {
	decoded  task.Ref[string]        // the sound as the file has it
	account  task.Ref[media.Decoded] // of the decoder, beside the sound
	features task.Ref[*align.Features]
	match    task.Ref[align.Match] // with the take's other device; zero for none
}

// Listened returns the task that listens for what sync needs to know; zero
// without a sound.
func (r *Recording) Listened() task.Ref[*align.Features] { return r.refs.features }

// Name returns the name of a recording that no other of the production has: its take and
// its role with a slash between them.
func (r *Recording) Name() string { return r.Owner + "/" + string(r.Role) }

// Usable reports whether the recording may go into the film.
func (r *Recording) Usable() bool { return r.Err == nil && r.Place.Sure }

// HasSound reports whether the file can be used and has a sound.
func (r *Recording) HasSound() bool { return r.Err == nil && r.Info.Audio != nil }

// HasPicture reports whether the file can be used and shows a player.
func (r *Recording) HasPicture() bool { return r.Err == nil && r.Info.Video != nil && r.Role == Video }

// BreaksOff notes that the picture ends at a time of the file, in seconds, which
// why says. It reports whether there is enough of it to be shown and this was
// not known.
func (r *Recording) BreaksOff(seconds float64, why error) bool {
	if r.short != nil || !(seconds-r.Info.Video.Start >= usableSeconds) { // NaN is no time
		return false
	}
	r.seconds, r.short = seconds, why
	return true
}

// usableSeconds is how much of a broken picture is worth showing.
const usableSeconds = 1

// Refuse notes why the file cannot be used.
func (r *Recording) Refuse(why error) { r.Err = r.withManifestPath(why) }

// withManifestPath makes a fault speak of a file as the manifest does.
func (r *Recording) withManifestPath(err error) error {
	var f *fault.Fault
	if errors.As(err, &f) && f.Where == r.Path {
		f.Where = r.File.Path
	}
	return err
}

// Take is what one player sent.
type Take struct {
	*production.Take
	Video *Recording // nil: none
	Audio *Recording
	// Heard is the recording whose sound the mix uses, or would use if its
	// place were known; nil for none.
	Heard *Recording
}

// Recordings returns the files of the take, the video first.
func (t Take) Recordings() []*Recording {
	var list []*Recording
	for _, r := range []*Recording{t.Video, t.Audio} {
		if r != nil {
			list = append(list, r)
		}
	}
	return list
}

// Set is every take of a production, in the order of its manifest.
type Set struct {
	Takes []Take
	// Room is the recorded room; nil: none. What is wrong with it is in its Err.
	Room *Recording
	// Count is the work that listening took.
	Count session.Count
	// Guides are those that were made otherwise than the manifest says now.
	Guides []guide.Change

	looked looked
	before manifest.Measured // what the run before wrote down; see [Set.remember]
}

// Recordings returns every file of every take.
func (s *Set) Recordings() []*Recording {
	var all []*Recording
	for _, t := range s.Takes {
		all = append(all, t.Recordings()...)
	}
	return all
}

// Find returns a take's recording with some content; nil when there is none.
func (s *Set) Find(take, hash string) *Recording {
	for _, r := range s.Recordings() {
		if r.Owner == take && r.Err == nil && r.Hash.String() == hash {
			return r
		}
	}
	return nil
}

// Inspect looks at every file of every take: is it there, what is it, what does it hold.
// A bad file has its Err set and stops no other. Takes that are withheld have none:
// nothing of them is opened, measured or drawn. It fails for a production without takes,
// for what is no take's fault, such as a full disk, and when ctx ends.
func Inspect(ctx context.Context, s *session.Session) (*Set, error) {
	man := s.Manifest()
	if err := man.NeedTakes(); err != nil {
		return nil, err
	}
	set := &Set{}
	for i := range man.Takes {
		t := &man.Takes[i]
		take := Take{Take: t}
		if t.Video != nil && !t.IsWithheld() {
			take.Video = &Recording{Owner: t.Name, Role: Video, File: t.Video, Unseen: !t.ShowsPicture()}
		}
		if t.Audio != nil && !t.IsWithheld() {
			take.Audio = &Recording{Owner: t.Name, Role: Audio, File: t.Audio}
		}
		for _, r := range take.Recordings() {
			r.stays = !t.ShowsPicture()
		}
		set.Takes = append(set.Takes, take)
	}
	group, ctx := errgroup.WithContext(ctx)
	group.SetLimit(max(1, min(s.Workers(), int(s.Settings().Memory/reading.ProbeMemory))))
	for _, t := range set.Takes {
		for _, r := range t.Recordings() {
			group.Go(func() error {
				r.Err = r.withManifestPath(t.inspect(ctx, s, r))
				if session.IsFatal(r.Err) {
					return r.Err // the disk or the store, and no fault of a take
				}
				return ctx.Err()
			})
		}
	}
	if err := group.Wait(); err != nil {
		return nil, err
	}
	set.listenTasks(s.Tool(), s.Store().Steady)
	return set, nil
}

// inspect fills in what is known of one file of the take.
func (t Take) inspect(ctx context.Context, s *session.Session, r *Recording) error {
	if err := r.probe(ctx, s); err != nil {
		return err
	}
	if r.Unseen {
		// Nothing may be made of the picture, so nothing gets to see it.
		r.Info.Video = nil
		if t.Audio != nil {
			return nil // its sound only helps to place the other
		}
		return r.Info.NeedAudio()
	}
	if r.Role != Video {
		return r.Info.NeedAudio()
	}
	if err := r.Info.NeedVideo(); err != nil {
		return err
	}
	return r.findCuts(ctx, s)
}

// The type that is stored of pictures without an index, with the number it has for ever.
var _ = store.Number(46, []media.Hole{})

// findCuts reads from the file's index where its picture can be opened, and where it has
// no frames for a while. Without an index that can be read no place to open it is known, and
// the time stamps of its packets, which are kept, tell where frames lack.
func (r *Recording) findCuts(ctx context.Context, s *session.Session) error {
	indexed := false
	err := s.Store().Steady(ctx, r.Path, r.Hash, func(ctx context.Context) error {
		if keys, err := media.ReadKeys(ctx, r.Path, r.Info.Video.Index); err == nil {
			r.cuts, r.holes, indexed = keys.Times(r.Info.Video.Start), keys.Holes, true
		}
		return ctx.Err()
	})
	if err != nil || indexed {
		return err
	}
	key := store.NewAction("holes").Version(media.Rule).Arg("ffprobe", s.Tool().Version.Text).Arg("limits",
		media.Limits).Arg("stream", r.Info.Video.Index).Input("file", r.Hash).Ext(".gob").For(r.File.Path)
	holes, err := session.Cached(ctx, s.Store(), key, func() (holes []media.Hole, err error) {
		err = s.Store().Steady(ctx, r.Path, r.Hash, func(ctx context.Context) (err error) {
			holes, err = media.ReadHoles(ctx, s.Tool(), r.Info)
			return err
		})
		return holes, err
	})
	if err == nil {
		r.holes = holes // one that cannot be listed is none the worse for it
	}
	return ctx.Err()
}

// probe finds the file in the production's folder, hashes it and finds out what it is. It fails
// with a fault for a file that is missing, unreadable or refused.
func (r *Recording) probe(ctx context.Context, s *session.Session) (err error) {
	if r.Path, err = media.Resolve(s.Manifest().Dir, r.File.Path); err != nil {
		return r.tellRenamed(ctx, s, err)
	}
	if r.Hash, err = s.Store().HashFile(ctx, r.Path); err != nil {
		return explainUnreadable(r.File.Path, err)
	}
	// A file's name decides nothing, but messages name it.
	key := store.NewAction("probe").Version(media.Rule).Arg("ffprobe", s.Tool().Version.Text).Arg("limits",
		media.Limits).
		Arg("name", filepath.Base(r.Path)).Input("file", r.Hash).Ext(".gob").For(r.File.Path)
	if r.File.Track > 0 {
		key = key.Arg("track", r.File.Track)
	}
	if len(s.Tool().Codecs) > 0 {
		key = key.Arg("codecs", s.Tool().Codecs)
	}
	st, err := os.Stat(r.Path)
	if err != nil {
		return explainUnreadable(r.File.Path, err)
	}
	s.Tool().Allow(r.Path, r.Hash.String(), media.Allowance(st.Size()))
	r.Info, err = session.Cached(ctx, s.Store(), key, func() (info media.Info, err error) {
		err = s.Store().Steady(ctx, r.Path, r.Hash, func(ctx context.Context) (err error) {
			info, err = media.ProbeTrack(ctx, s.Tool(), r.Path, r.File.Track)
			return err
		})
		return info, err
	})
	r.Info.Path = r.Path
	if a := r.Info.Audio; err == nil && a != nil && (a.Rate < align.MinRate || a.Rate > media.MaxRate) {
		return fault.New(fault.Media, r.Path,
			fmt.Sprintf("its sound has %d samples a second, and %d to %d can be used", a.Rate, align.MinRate,
				media.MaxRate),
			"ask the player for the recording as it was made, at 44100 or 48000")
	}
	return err
}

// explainUnreadable says in words why a file's content cannot be had.
func explainUnreadable(file string, err error) error {
	var f *fault.Fault
	switch {
	case err == nil || errors.As(err, &f) || errors.Is(err, context.Canceled):
		return err
	case errors.Is(err, fs.ErrPermission):
		return fault.New(fault.Media, file, "the file may not be read", "change its permissions")
	case errors.Is(err, fs.ErrNotExist):
		return fault.New(fault.Media, file, "the file was taken away while it was looked at",
			"put it back and run again")
	}
	var no syscall.Errno
	if errors.As(err, &no) {
		err = no // what the system says, without the names of calls
	}
	return fault.New(fault.Media, file, "the file cannot be read", "copy it again").Because(err)
}

// inspectRoom looks at the recorded room, if the manifest has one. What is
// wrong with it is kept for whoever wants to hear it.
func (s *Set) inspectRoom(ctx context.Context, x *session.Session) {
	a := x.Manifest().Mix.Impulse
	if a == nil {
		return
	}
	s.Room = &Recording{Owner: "room", Role: "impulse", File: &production.File{Path: a.Path, Mark: a.Mark}}
	err := s.Room.probe(ctx, x)
	if err == nil {
		err = s.Room.Info.NeedAudio()
	}
	if err != nil {
		s.Room.Err = s.Room.UnusableRoom(err)
		return
	}
	s.Room.decodeTask(x.Tool(), x.Store().Steady, nil)
}

// UnusableRoom returns the fault of a recorded room that is none.
func (r *Recording) UnusableRoom(err error) error {
	return media.Unusable("room",
		"a recording of one short bang in the room, with 1, 2 or 4 channels; or hall: instead", r.File.Path,
		r.File.Mark, err)
}

// String names the recording for people.
func (r *Recording) String() string { return fmt.Sprintf("%s (%s)", r.Owner, r.Role) }
