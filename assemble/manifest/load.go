package manifest

import (
	"cmp"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"ripieno/assemble/production"
	"strconv"

	"go.yaml.in/yaml/v3"

	"ripieno/assemble/fault"
	"ripieno/assemble/report/phrase"
)

// FileName is the name of the manifest in a production's folder.
const FileName = "production.yaml"

// Version is the only version of the manifest there is so far.
const Version = 1

// Load reads the manifest of the production in dir. Its faults name the file
// as the person would type it, dir and all. A folder without a manifest is a
// fault that says how to get one.
func Load(dir string) (*production.Production, error) {
	path := filepath.Join(dir, FileName)
	data, err := readSmall(path, maxBytes)
	switch {
	case err == nil:
		return Parse(path, data)
	case errors.Is(err, fs.ErrNotExist):
		return nil, missingManifest(dir, path)
	}
	return nil, fault.New(fault.Manifest, path, "the manifest cannot be read",
		"make sure that it is a file and that you may read it").Because(err)
}

// missingManifest returns the fault for a folder without a manifest, with the likely reason.
func missingManifest(dir, path string) *fault.Fault {
	if info, err := os.Stat(dir); err != nil || !info.IsDir() {
		return fault.New(fault.Manifest, dir, "no such folder", "give the production's folder with --dir")
	}
	// Names that editors, downloads and other habits give the file. On disks that
	// ignore capitals Production.yaml has been opened by now.
	for _, other := range []string{"production.yml", "Production.yaml", "production.yaml.txt", "production.json"} {
		if _, err := os.Stat(filepath.Join(dir, other)); err == nil {
			return fault.New(fault.Manifest, path, "there is no such file, but there is "+strconv.Quote(other),
				"rename it to "+FileName)
		}
	}
	return fault.New(fault.Manifest, path, "there is no manifest here",
		"run `ripieno new` in the folder of takes for a first draft, or `ripieno demo` for a whole example")
}

// readSmall reads an ordinary file of at most limit bytes; of a larger one it
// gives limit bytes and one more, which checkText refuses. Devices and pipes
// could block forever and are not read.
func readSmall(path string, limit int64) ([]byte, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	if !info.Mode().IsRegular() {
		return nil, errors.New("not an ordinary file")
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close() //nolint:errcheck // nothing was written
	return io.ReadAll(io.LimitReader(f, limit+1))
}

// Parse reads a manifest that was read from path. The path is used in faults
// as it is given, and its folder for Production.Dir. The score, if tempo names
// one, is the only file that is opened.
//
// Either the production or the error is nil. The error is a [fault.List] of
// kind Manifest.
func Parse(path string, data []byte) (*production.Production, error) {
	dir, err := filepath.Abs(filepath.Dir(path))
	if err != nil { // the working folder is gone
		return nil, fault.List{fault.New(fault.Manifest, path, "the folder cannot be found",
			"change into the production's folder").Because(err)}
	}
	return parseIn(dir, path, data)
}

// belonging is where a text belongs that is read as a manifest without being loaded.
type belonging struct {
	path string // for faults
	dir  string // in which files are found
}

// belongingOf returns where p's manifest belongs; without p, to this folder.
func belongingOf(p *production.Production) belonging {
	if p == nil {
		return belonging{FileName, "."}
	}
	return belonging{cmp.Or(p.Path, FileName), cmp.Or(p.Dir, ".")}
}

// parse reads data as the manifest that lies there.
func (b belonging) parse(data []byte) (*production.Production, error) {
	return parseIn(b.dir, b.path, data)
}

// parseIn does what Parse does, with the folder known. dir is absolute; path is only
// printed. Adopting and pinning call it with a path that need not be there, to see
// whether what they would write can be read.
func parseIn(dir, path string, data []byte) (*production.Production, error) {
	root, bad := parseYAML(path, data, maxBytes)
	if bad != nil {
		return nil, fault.List{bad}
	}
	r := &reader{file: path, dir: dir}
	if r.laterVersion(root) {
		return nil, r.err()
	}
	// Before anything is read: what follows takes it that no value is an alias.
	r.refuseSharing(root)
	p := r.mapping(root, topShape).production()
	if err := r.err(); err != nil {
		return nil, err
	}
	p.Path, p.Dir, p.Advice = path, dir, r.advice
	return p, nil
}

// laterVersion refuses a file made for a later program before anything else
// is read: it would be all faults and none of them true.
func (r *reader) laterVersion(root *yaml.Node) bool {
	for i := 0; i+1 < len(root.Content); i += 2 {
		k, v := root.Content[i], root.Content[i+1]
		if n, err := strconv.Atoi(v.Value); k.Value == "version" && err == nil && n > Version && !isQuoted(v) {
			r.at(v, "get a newer ripieno, or write version: 1 if the file was made for this one",
				"version %d is newer than this program, which reads version %d", n, Version)
			return true
		}
	}
	return false
}

// version checks that the file says which version it is. Quotes make a text of it, as
// of any number, and are a fault.
func (m mapping) version() {
	if !m.need("version", `write "version: 1" on the first line`) {
		return
	}
	v, ok := m.scalar("version", strconv.Itoa(Version))
	if ok && (v.Value != strconv.Itoa(Version) || isQuoted(v)) {
		m.at(v, `write "version: 1"`, "unknown version %q", clip(v.Value))
	}
}

// production reads all sections. It is only whole when there are no faults.
//
// The order matters. Times need the tempo; the tempo needs the tuning notes of
// guide:, which come before it; takes need the sections and the guides; shots, the
// mix and what is hidden need the takes. A faulty tempo is nil, and readers that take
// one then check all but the musical positions, so that the rest of the file is still
// told about.
func (m mapping) production() *production.Production {
	p := &production.Production{TakesMark: markOf(m.file, m.node)}
	m.version()
	if m.need("title", `for example title: The Lamplighter's Round`) {
		p.Title = m.text("title", "The Lamplighter's Round")
	}
	m.occasion(p)
	p.Language = m.choice("language", phrase.Default)
	p.Composer = m.text("composer", "Mara Voss")
	p.Ensemble = m.text("ensemble", "Harbour Lane Winds")
	p.Dedication = m.text("dedication", "for the lamplighters")
	if m.need("tempo", "for example "+tempoShape.example) {
		if t, ok := m.child("tempo", tempoShape); ok {
			_, lead := m.tuning()
			p.Tempo, p.Score, p.Beats = t.tempo(lead)
		}
	}
	release := m.release(production.ReleaseMissing)
	p.Guide = m.guide(p.Tempo, p.Score, release)
	p.Timing = m.timing(production.Timings[0])
	p.Sections = m.sections()
	p.CallSheet = m.callSheet(p.Language)
	var entries []mapping
	p.Takes, entries = m.takes(p, release)
	p.Seats = m.seats(p.Takes, entries)
	p.Sections = m.useSections(p.Sections, p.Takes, entries)
	m.useGuides(&p.Guide, p.Takes, entries, p.Tempo)
	p.Mix = m.mix(p.Sections, len(p.Takes))
	// By default noise is reduced up to a number of takes, which is known only now.
	for i, e := range entries {
		p.Takes[i].Strip.Clean = e.clean(p.Mix.Clean, defaultClean(len(entries)))
	}
	p.Picture = m.picture()
	p.Shots = m.shots(p)
	p.Deliver = m.deliver(p.Tempo, p.Guide.Variants)
	p.Chapters = m.chapters(p.Tempo)
	p.Notes = m.notes(p.Tempo)
	p.Check = m.limits()
	m.checkHidden(p, entries)
	if k := m.keys["takes"]; k != nil {
		p.TakesMark = markOf(m.file, k)
	}
	return p
}

// entries reads the mappings of a list.
func (m mapping) entries(key string, s *shape) []mapping {
	var all []mapping
	for i, n := range m.list(key, key+": ["+s.example+"]") {
		if isEmpty(n) { // its own place is that of whatever comes next
			m.at(m.vals[key], "write "+s.example+", or delete it", "entry %d of %s is empty", i+1, key)
			continue
		}
		if e := m.mapping(n, s); n.Kind == yaml.MappingNode {
			all = append(all, e)
		}
	}
	return all
}
