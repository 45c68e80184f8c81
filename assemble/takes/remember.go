package takes

import (
	"ripieno/assemble/manifest"
	"ripieno/assemble/production"
	"ripieno/assemble/session"
	"ripieno/assemble/store"
	"ripieno/mix/align"
)

// A film does not lose a player because somebody else's take came in: who was told to be sure stays
// so. sync.yaml says who was, and is an input for that alone; without it everybody is judged anew. It
// moves nobody and tells nobody else anything: only whether a person is asked goes by it.

// rememberRule is the version of what a recording is remembered by.
const rememberRule = 1

// recall reads who was sure in the run before. What cannot be read is told and remembers nobody.
func (s *Set) recall(x *session.Session) {
	was, err := manifest.LoadMeasured(x.Manifest().Dir)
	if err != nil {
		x.Message(NewFault("", "", err).What + ", so who was sure before is not remembered")
		return
	}
	s.before = *was
}

// remember keeps sure the recordings that were so in the run before, are the same file made to the
// same guide, heard and judged by the same rules, and would lie where they lay, to the last digit.
// It notes by what each is remembered.
func (s *Set) remember(man *production.Production, placed map[string]align.Placement) {
	for _, t := range s.Takes {
		key := t.key(man)
		for _, r := range t.Recordings() {
			p, ok := placed[r.Name()]
			if r.key = key; !ok {
				continue
			}
			was, known := s.before.Find(r.Owner, r.Role, r.Hash.String())
			same := known && was.Key == key && was.Offset == p.Offset && was.DriftPPM == p.DriftPPM
			if same && was.Sure && p.Remember() {
				placed[r.Name()] = p
			}
		}
	}
}

// key stands for all that decides where the recordings of a take lie exactly: rules, guide, part,
// what the manifest says of them, and the files of both devices.
func (t Take) key(man *production.Production) string {
	m, shift := guideOf(man, t.Guide)
	a := store.NewAction("remember").Version(rememberRule).Arg("rules", align.Rules()).Arg("match", align.MatchVersion).
		Arg("beats", beatTimes(m)).Arg("end", m.End()).Arg("shift", shift).Arg("timing", string(t.Timing))
	if part := scorePart(man, t.Part); part != nil {
		a = a.Arg("part", part.Seconds(man.Tempo))
	}
	for _, r := range t.Recordings() {
		if r.Err == nil {
			a = a.Arg("file", string(r.Role)+" "+r.Hash.String()).Arg("parts", r.Parts).Arg("rate", r.Rate).
				Arg("given", []*float64{r.File.Offset, r.File.CueAt, r.File.DriftPPM})
		}
	}
	return a.ID().String()[:keyDigits]
}

// keyDigits is how much of a key is written down: no two of a production are taken for each other.
const keyDigits = 16
