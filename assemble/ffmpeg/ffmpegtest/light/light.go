// Package light makes ffmpeg start quickly for tests, which start it thousands of
// times.
//
// Debian's ffmpeg 5.1 loads 215 libraries. Nine tenths of them serve screens, sound
// cards, servers and speech, which nothing here uses, and still each start looks for
// 43,000 of their symbols: 76 ms of processor, of which 18 remain when what is not
// needed is replaced by stand-ins. A stand-in has the symbols that ffmpeg's own
// libraries ask for and nothing else. ffmpeg itself, its libraries, and every codec
// and filter that the tests use are the ones that are installed; what they make has
// the same bytes. A call that reaches a stand-in ends the process at once (SIGILL), so
// that a test which needs more than is kept fails instead of checking less.
//
// What tests measure about starting, memory and refusing hostile files they measure
// with the whole program: [Whole] in the environment says so.
package light

import (
	"crypto/sha256"
	"debug/elf"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
)

// Variable is the environment variable that decides which program is run, also by
// programs that were found earlier: [Whole] for the installed one as it is.
const Variable = "RIPIENO_TEST_FFMPEG"

// Whole is the value of [Variable] with which nothing is replaced.
const Whole = "whole"

// rule is raised when folders of an older kind must not be used again.
const rule = 1

// kept are the libraries that ffmpeg's own are left: what codes and draws, what is
// asked when a file is probed (libopenmpt, libgme, libxml2), and what knows hardware.
var kept = strings.Fields(`libc libm libz libbz2 liblzma libstdc++ libgcc_s
	libx264 libx265 libvpx libaom libdav1d libSvtAv1Enc librav1e libtheoraenc libtheoradec libxvidcore
	libwebp libwebpmux libopenjp2 libsnappy
	libopus libvorbis libvorbisenc libmp3lame libspeex libtwolame libgsm libshine libsoxr
	libzimg libass libfribidi libfontconfig libfreetype
	libopenmpt libgme libxml2
	libva libva-drm libva-x11 libvdpau libdrm libmfx libOpenCL libX11`)

// quiet are functions that ffmpeg calls at every start, whatever it is asked for.
var quiet = []string{"gnutls_global_init", "gnutls_global_deinit"}

// Folder returns a folder with an ffmpeg and an ffprobe that start quickly, for the
// front of the search path. It is made when it is first asked for and kept in cache,
// by name of the programs and of the system's list of libraries. An error says why
// there is none: not Linux, an unknown processor, programs that are no ELF files (such
// as scripts), or a trial that failed; tests then use the programs as they are.
func Folder(cache, ffmpeg, ffprobe string, try func(ffmpeg, ffprobe string) error) (string, error) {
	if runtime.GOOS != "linux" {
		return "", errors.New("light: only the libraries of Linux are known")
	}
	id := sha256.New()
	fmt.Fprintln(id, rule)
	for _, path := range []string{ffmpeg, ffprobe, "/etc/ld.so.cache"} {
		info, err := os.Stat(path)
		if err != nil {
			return "", fmt.Errorf("light: %w", err)
		}
		fmt.Fprintln(id, path, info.Size(), info.ModTime().UnixNano())
	}
	dir := filepath.Join(cache, fmt.Sprintf("light-%x", id.Sum(nil)[:8]))
	if _, err := os.Stat(dir); err == nil {
		return dir, nil
	}
	if err := os.MkdirAll(cache, 0o777); err != nil {
		return "", fmt.Errorf("light: %w", err)
	}
	temp, err := os.MkdirTemp(cache, "making-")
	if err != nil {
		return "", fmt.Errorf("light: %w", err)
	}
	defer os.RemoveAll(temp)
	if err := fill(temp, dir, []string{ffmpeg, ffprobe}); err != nil {
		return "", err
	}
	for _, name := range []string{ffmpeg, ffprobe} {
		if err := writeScript(temp, temp, name, filepath.Base(name)+".trial"); err != nil {
			return "", err
		}
	}
	if err := try(filepath.Join(temp, filepath.Base(ffmpeg)+".trial"),
		filepath.Join(temp, filepath.Base(ffprobe)+".trial")); err != nil {
		return "", fmt.Errorf("light: the trial: %w", err)
	}
	for _, name := range []string{ffmpeg, ffprobe} {
		os.Remove(filepath.Join(temp, filepath.Base(name)+".trial")) // a leftover is harmless
	}
	if err := os.Rename(temp, dir); err != nil {
		if _, there := os.Stat(dir); there != nil { // else another process was quicker
			return "", fmt.Errorf("light: %w", err)
		}
	}
	return dir, nil
}

// fill writes stand-ins into a folder and scripts that will find them in final.
func fill(dir, final string, programs []string) error {
	all, machine, err := survey(programs)
	if err != nil {
		return err
	}
	for _, s := range all {
		if err := os.WriteFile(filepath.Join(dir, s.name), s.bytes(machine), 0o666); err != nil {
			return fmt.Errorf("light: %w", err)
		}
	}
	for _, program := range programs {
		if err := writeScript(dir, final, program, filepath.Base(program)); err != nil {
			return err
		}
	}
	return nil
}

// writeScript writes what runs a program with the libraries of a folder. The process
// stays the same one, for whoever signals, limits or measures it.
func writeScript(dir, libraries, program, name string) error {
	script := fmt.Sprintf(`#!/bin/sh
if [ "$%[1]s" != %[2]s ]; then
	LD_LIBRARY_PATH='%[3]s'${LD_LIBRARY_PATH:+:$LD_LIBRARY_PATH}
	export LD_LIBRARY_PATH
fi
exec '%[4]s' "$@"
`, Variable, Whole, libraries, program)
	if err := os.WriteFile(filepath.Join(dir, name), []byte(script), 0o777); err != nil {
		return fmt.Errorf("light: %w", err)
	}
	return nil
}

// survey returns the stand-ins that programs can do with, and their processor.
func survey(programs []string) ([]standIn, elf.Machine, error) {
	s := &reader{files: map[string]*library{}, needed: map[string]bool{}}
	var own []*library
	for _, path := range programs {
		l, err := s.open(path)
		if err != nil {
			return nil, 0, fmt.Errorf("light: %w", err)
		}
		own = append(own, l)
	}
	machine := own[0].machine
	if _, known := traps[machine]; !known {
		return nil, 0, fmt.Errorf("light: stand-ins for %v are not known", machine)
	}
	for i := 0; i < len(own); i++ { // own grows
		for _, name := range own[i].needs {
			l := s.find(name)
			switch {
			case l == nil || slices.Contains(own, l):
			case isOwn(name):
				own = append(own, l)
			case slices.Contains(kept, stem(name)):
				s.keep(l)
			}
		}
	}
	asked := map[string]map[symbol]bool{}
	for _, l := range own {
		if err := s.ask(l, asked); err != nil {
			return nil, 0, err
		}
	}
	var out []standIn
	for name, symbols := range asked {
		one := standIn{name: name}
		for sym := range symbols {
			one.symbols = append(one.symbols, sym)
		}
		slices.SortFunc(one.symbols, func(a, b symbol) int { return strings.Compare(a.name, b.name) })
		out = append(out, one)
	}
	return out, machine, nil
}

// isOwn reports whether a library is one of ffmpeg's.
func isOwn(name string) bool {
	return slices.Contains(strings.Fields("libavdevice libavfilter libavformat libavcodec libavutil libswscale "+
		"libswresample libpostproc"), stem(name))
}

// stem returns a library's name without what follows ".so".
func stem(name string) string { s, _, _ := strings.Cut(name, ".so"); return s }

// library is what is known of a file.
type library struct {
	path    string
	machine elf.Machine
	needs   []string
	defines map[string]bool
	imports []elf.ImportedSymbol
}

// reader reads libraries, each once.
type reader struct {
	files  map[string]*library // by path; nil where there is none
	needed map[string]bool     // by what is kept, by name
}

// folders are where Linux's loader looks, for Debian's layout and Fedora's.
var folders = []string{"/usr/lib/x86_64-linux-gnu", "/usr/lib/aarch64-linux-gnu", "/lib64", "/usr/lib64",
	"/lib", "/usr/lib", "/usr/local/lib"}

func (s *reader) find(name string) *library {
	for _, dir := range folders {
		if l, err := s.open(filepath.Join(dir, name)); err == nil {
			return l
		}
	}
	return nil
}

func (s *reader) open(path string) (*library, error) {
	if l, known := s.files[path]; known {
		if l == nil {
			return nil, os.ErrNotExist
		}
		return l, nil
	}
	s.files[path] = nil
	f, err := elf.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	l := &library{path: path, machine: f.Machine, defines: map[string]bool{}}
	if l.needs, err = f.ImportedLibraries(); err != nil {
		return nil, err
	}
	if l.imports, err = f.ImportedSymbols(); err != nil {
		return nil, err
	}
	symbols, err := f.DynamicSymbols()
	if err != nil {
		return nil, err
	}
	for _, sym := range symbols {
		if sym.Section != elf.SHN_UNDEF {
			l.defines[sym.Name] = true
		}
	}
	s.files[path] = l
	return l, nil
}

// keep notes everything that a library needs as needed.
func (s *reader) keep(l *library) {
	for _, name := range l.needs {
		if s.needed[name] {
			continue
		}
		s.needed[name] = true
		if next := s.find(name); next != nil {
			s.keep(next)
		}
	}
}

// ask adds what one of ffmpeg's libraries asks of those that are replaced, by their
// names. Symbols that are asked for without a version belong to whoever has them.
func (s *reader) ask(l *library, asked map[string]map[symbol]bool) error {
	var replaced []string
	for _, name := range l.needs {
		if isOwn(name) || s.needed[name] || slices.Contains(kept, stem(name)) {
			continue
		}
		if s.find(name) == nil {
			return fmt.Errorf("light: %s needs %s, which is not found", l.path, name)
		}
		replaced = append(replaced, name)
		if asked[name] == nil {
			asked[name] = map[symbol]bool{}
		}
	}
	for _, sym := range l.imports {
		for _, name := range replaced {
			if sym.Library == name || sym.Library == "" && s.find(name).defines[sym.Name] {
				asked[name][symbol{sym.Name, sym.Version, slices.Contains(quiet, sym.Name)}] = true
			}
		}
	}
	return nil
}
