package cli_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"fmt"
	"maps"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"

	"ripieno/assemble/cli"
	"ripieno/assemble/ffmpeg/ffmpegtest"
	"ripieno/assemble/session"
	"ripieno/layout/card/cardtest"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){
		"ripieno": func() {
			ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
			defer stop()
			os.Exit(cli.Main(ctx, os.Args[1:], cli.Streams{In: os.Stdin, Out: os.Stdout, Err: os.Stderr}))
		},
	})
}

// TestScripts runs every archive in testdata/script: one behaviour each, the
// program called as a person calls it.
func TestScripts(t *testing.T) {
	programs := t.TempDir()
	if err := ffmpegtest.Remember(ffmpegtest.Tool(t), programs); err != nil {
		t.Fatal(err)
	}
	pool.dir = t.TempDir()
	testscript.Run(t, testscript.Params{
		Dir: filepath.Join("..", "..", "testdata", "script"),
		Setup: func(e *testscript.Env) error {
			e.Setenv("PATH", programs+string(os.PathListSeparator)+e.Getenv("PATH"))
			e.Setenv("XDG_CONFIG_HOME", filepath.Join(e.WorkDir, ".config"))
			e.Setenv("HOME", e.WorkDir)
			return os.MkdirAll(filepath.Join(e.WorkDir, "intake"), 0o777)
		},
		Cmds: commands(),
		Condition: func(name string) (bool, error) {
			if f, ok := conditions[name]; ok {
				return f(), nil
			}
			if encoder, ok := strings.CutPrefix(name, "encodes:"); ok {
				return encodes(encoder), nil
			}
			return false, nil
		},
		RequireExplicitExec: true,
		// Rewrites the expected messages; read every one of them afterwards.
		UpdateScripts: os.Getenv("UPDATE_SCRIPTS") != "",
	})
}

// troubles and conditions are commands and conditions that only some systems
// have.
var (
	troubles   = map[string]func(*testscript.TestScript, bool, []string){}
	conditions = map[string]func() bool{}
)

// commands returns the commands of the scripts besides testscript's own.
func commands() map[string]func(*testscript.TestScript, bool, []string) {
	all := map[string]func(*testscript.TestScript, bool, []string){
		"take":     makeTake,
		"kept":     beginWithKept,
		"font":     makeFont,
		"truncate": truncateFile,
		"hash":     hashFiles,
		"exits":    exits,
		"probe":    probe,
	}
	maps.Copy(all, troubles)
	return all
}

// command builds a call of the program under test.
func command(ts *testscript.TestScript, args []string) *exec.Cmd {
	path := ""
	for dir := range strings.SplitSeq(ts.Getenv("PATH"), string(os.PathListSeparator)) {
		if p := filepath.Join(dir, args[0]); path == "" {
			if _, err := os.Stat(p); err == nil {
				path = p
			}
		}
	}
	cmd := exec.Command(path, args[1:]...)
	cmd.Dir = ts.MkAbs(".")
	for _, k := range []string{"PATH", "HOME", "XDG_CONFIG_HOME", "WORK", "TMPDIR", "RIPIENO_WORKERS", "RIPIENO_DIR",
		"RIPIENO_PATIENCE", "RIPIENO_STORE_LIMIT", "RIPIENO_RECHECK"} {
		cmd.Env = append(cmd.Env, k+"="+ts.Getenv(k))
	}
	if p := ts.Getenv("ONLYPATH"); p != "" {
		cmd.Env = append(cmd.Env, "PATH="+p)
	}
	return cmd
}

// encodes reports whether the ffmpeg at hand has an encoder.
func encodes(name string) bool {
	list, err := exec.Command("ffmpeg", "-hide_banner", "-encoders").Output()
	return err == nil && strings.Contains(string(list), " "+name+" ")
}

// makeTake writes a short recording: take FILE KIND [SECONDS]. The kinds are
// video (picture and sound), mute (picture only), sound (sound only), moov-late
// (as video, with its index at the end) and upright (a phone held upright). The
// sound is a burst every half second.
func makeTake(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: take FILE KIND [SECONDS]")
	}
	seconds := "4"
	if len(args) > 2 {
		seconds = args[2]
	}
	size := "160x90"
	if args[1] == "upright" {
		size = "90x160"
	} else if args[1] == "large" {
		size = "640x360"
	}
	picture := []string{"-f", "lavfi", "-i", "testsrc2=size=" + size + ":rate=25:duration=" + seconds}
	sound := []string{"-f", "lavfi", "-i", "aevalsrc='0.4*sin(2*PI*660*t)*exp(-12*mod(t,0.5))':s=48000:d=" + seconds}
	var in []string
	switch args[1] {
	case "video", "moov-late", "upright", "large":
		in = append(picture, sound...)
	case "mute":
		in = picture
	case "sound":
		in = sound
	default:
		ts.Fatalf("no such kind of take: %s", args[1])
	}
	argv := append([]string{"-v", "error", "-y"}, in...)
	argv = append(argv, "-c:v", "libx264", "-preset", "ultrafast", "-g", "25", "-pix_fmt", "yuv420p")
	if args[1] != "moov-late" && strings.HasSuffix(args[0], ".mp4") {
		argv = append(argv, "-movflags", "+faststart")
	}
	// Many scripts have the same takes, and ffmpeg takes longest to start.
	recorded.Lock()
	defer recorded.Unlock()
	key := strings.Join(argv, " ") + filepath.Ext(args[0])
	if recorded.takes[key] == nil {
		out, err := exec.Command("ffmpeg", append(argv, ts.MkAbs(args[0]))...).CombinedOutput()
		if err != nil {
			ts.Fatalf("ffmpeg: %v: %s", err, out)
		}
		data, err := os.ReadFile(ts.MkAbs(args[0]))
		ts.Check(err)
		recorded.takes[key] = data
		return
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), recorded.takes[key], 0o666))
}

// recorded are the takes that scripts have made, by how they were made.
var recorded = struct {
	sync.Mutex
	takes map[string][]byte
}{takes: map[string][]byte{}}

// pool is a store of what the scripts that begin with `kept` have made.
var pool = struct {
	sync.Mutex
	dir string
}{}

// beginWithKept has a script begin with the stored results of those that did before it:
// kept. It is for scripts that say what happens to a bad take or a message while a good
// one is filmed as usual; those about making, keeping or counting have stores of their
// own. Results are found by the content of what they are made of, so a script whose take
// is another one makes its own.
func beginWithKept(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) > 0 {
		ts.Fatalf("usage: kept")
	}
	store := ts.MkAbs(session.StoreFolder)
	ts.Check(copyEntries(store, pool.dir))
	ts.Defer(func() {
		if err := copyEntries(pool.dir, store); err != nil {
			ts.Logf("nothing is kept of this script: %v", err)
		}
	})
}

// copyEntries copies outputs that are not there yet from a store to another one, and
// what describes them last.
func copyEntries(to, from string) error {
	pool.Lock()
	defer pool.Unlock()
	entries, err := filepath.Glob(filepath.Join(from, "??", "*.entry"))
	if err != nil {
		return err
	}
	for _, entry := range entries {
		dir := filepath.Join(to, filepath.Base(filepath.Dir(entry)))
		if _, err := os.Stat(filepath.Join(dir, filepath.Base(entry))); err == nil {
			continue
		}
		outputs, err := filepath.Glob(strings.TrimSuffix(entry, "entry") + "*")
		if err != nil {
			return err
		}
		for _, path := range append(slices.DeleteFunc(outputs, func(p string) bool { return p == entry }), entry) {
			if err := copyTree(filepath.Join(dir, filepath.Base(path)), path); err != nil {
				return err
			}
		}
	}
	return nil
}

// copyTree copies a file, or a folder of them.
func copyTree(to, from string) error {
	info, err := os.Stat(from)
	if err != nil {
		return err
	}
	if info.IsDir() {
		return os.CopyFS(to, os.DirFS(from))
	}
	data, err := os.ReadFile(from)
	if err == nil {
		err = os.MkdirAll(filepath.Dir(to), 0o700)
	}
	if err == nil {
		err = os.WriteFile(to, data, info.Mode().Perm())
	}
	if err != nil {
		return err
	}
	return os.Chtimes(to, info.ModTime(), info.ModTime())
}

// makeFont writes a font of bars: font FILE CHARACTERS.
func makeFont(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: font FILE CHARACTERS")
	}
	var bars []cardtest.Block
	for i, r := range []rune(args[1]) {
		bars = append(bars, cardtest.Bar(r, 500, int16(200+100*(i%8))))
	}
	ts.Check(os.MkdirAll(filepath.Dir(ts.MkAbs(args[0])), 0o777))
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), cardtest.Font(bars...), 0o666))
}

// truncateFile cuts a file: truncate FILE PERCENT.
func truncateFile(ts *testscript.TestScript, neg bool, args []string) {
	path := ts.MkAbs(args[0])
	info, err := os.Stat(path)
	ts.Check(err)
	var percent int64
	_, err = fmt.Sscan(args[1], &percent)
	ts.Check(err)
	ts.Check(os.Truncate(path, info.Size()*percent/100))
}

// hashFiles compares files before and after: `hash save FILES`, `hash same`.
func hashFiles(ts *testscript.TestScript, neg bool, args []string) {
	const key = "HASHES"
	if args[0] == "save" {
		var b strings.Builder
		for _, name := range args[1:] {
			fmt.Fprintf(&b, "%s=%x;", name, sha256.Sum256([]byte(ts.ReadFile(name))))
		}
		ts.Setenv(key, b.String())
		return
	}
	for entry := range strings.SplitSeq(strings.TrimSuffix(ts.Getenv(key), ";"), ";") {
		name, was, _ := strings.Cut(entry, "=")
		if now := fmt.Sprintf("%x", sha256.Sum256([]byte(ts.ReadFile(name)))); (now == was) == neg {
			ts.Fatalf("%s: changed is %v", name, now != was)
		}
	}
}

// exits runs the program and checks its exit code: exits CODE ripieno ARGS.
// Standard output and error go to the files stdout.txt and stderr.txt.
func exits(ts *testscript.TestScript, neg bool, args []string) {
	var code int
	if _, err := fmt.Sscan(args[0], &code); err != nil || neg {
		ts.Fatalf("usage: exits CODE COMMAND")
	}
	cmd := command(ts, args[1:])
	var out, errs bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &errs
	err := cmd.Run()
	ts.Check(os.WriteFile(ts.MkAbs("stdout.txt"), out.Bytes(), 0o666))
	ts.Check(os.WriteFile(ts.MkAbs("stderr.txt"), errs.Bytes(), 0o666))
	if got := cmd.ProcessState.ExitCode(); got != code {
		ts.Fatalf("exit code %d, want %d (%v)\nstdout: %s\nstderr: %s", got, code, err, out.String(), errs.String())
	}
}

// probe prints what ffprobe says into stdout.txt: probe FILE ENTRIES.
func probe(ts *testscript.TestScript, neg bool, args []string) {
	out, err := exec.Command("ffprobe", "-v", "error", "-count_packets", "-show_entries", args[1], "-of",
		"default=nw=1", ts.MkAbs(args[0])).Output()
	ts.Check(err)
	ts.Check(os.WriteFile(ts.MkAbs("stdout.txt"), out, 0o666))
}
