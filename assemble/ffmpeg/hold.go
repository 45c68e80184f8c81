package ffmpeg

import (
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"

	"ripieno/assemble/held"
)

// names are the links through which a process reads held files, in a folder of
// their own. The programs go by a name's ending where the content leaves the format
// in doubt, so each link ends as its file does.
type names struct {
	dir   string
	pairs []string // a link, and the name it stands for
}

// longestEnding is far above any ending that means something, in bytes.
const longestEnding = 16

// hold gives cmd the files that are held under ctx and that its arguments name, and
// replaces the names: see package held. What it makes for that goes with
// [names.remove], also after an error.
func (n *names) hold(ctx context.Context, cmd *exec.Cmd) error {
	const protocol, firstExtra = "file:", 3
	links := map[string]string{} // by path
	for i, arg := range cmd.Args {
		path, ok := strings.CutPrefix(arg, protocol)
		if !ok {
			continue
		}
		open := held.File(ctx, path)
		if open == nil {
			continue
		}
		link, ok := links[path]
		if !ok {
			var err error
			if link, err = n.link(path, firstExtra+len(cmd.ExtraFiles)); err != nil {
				return err
			}
			cmd.ExtraFiles = append(cmd.ExtraFiles, open)
			links[path] = link
		}
		cmd.Args[i] = protocol + link
	}
	return nil
}

// link makes the link for the file at path, which the process will have as the
// descriptor fd.
func (n *names) link(path string, fd int) (string, error) {
	if n.dir == "" {
		var err error
		if n.dir, err = os.MkdirTemp("", "ripieno-"); err != nil {
			return "", err
		}
	}
	ending := filepath.Ext(path)
	if len(ending) > longestEnding {
		ending = ""
	}
	link := filepath.Join(n.dir, strconv.Itoa(fd)+ending)
	n.pairs = append(n.pairs, link, path)
	return link, os.Symlink(held.Name(uintptr(fd)), link)
}

// real puts the names of files in the place of their links.
func (n *names) real(lines []string) []string {
	if n.dir == "" {
		return lines
	}
	for i, l := range lines {
		lines[i] = strings.NewReplacer(n.pairs...).Replace(l)
	}
	return lines
}

// remove takes the links away that stood for open files. They lie in a folder of their own, so
// nothing else can go with them.
func (n *names) remove() {
	if n.dir != "" {
		os.RemoveAll(n.dir)
	}
}
