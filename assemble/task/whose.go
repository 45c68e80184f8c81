package task

import (
	"os"
	"slices"
	"strings"
)

// Tasks that read one large file from elsewhere, the pieces of a take, are given away so that
// few machines fetch it and it has to lie at the hub for a short time: about as many files are
// open as there are machines, each for one of them, and the next one is opened when an open
// one has no tasks left. In the order of the film, as this machine makes them, every machine
// would fetch every take, and a hub without room for all would be sent each again and again. For
// its sake a file is not opened either while those that are read or will be leave no room for it.

// givenFiles says of files that tasks of a rule read how many of these are away now; what was
// opened has an entry.
type givenFiles map[string]int

// give notes that a task is given away which reads a file; "" is none.
func (g givenFiles) give(file string) {
	if file != "" {
		g[file]++
	}
}

// end notes that such a task is away no longer.
func (g givenFiles) end(file string) {
	if file != "" {
		g[file]--
	}
}

// fileOf returns the rule of a task and the first file from elsewhere that it reads; "" when
// it reads none.
func (x *execution) fileOf(i int) string {
	errand := x.g.tasks[i].Errand
	if errand == nil {
		return ""
	}
	for _, in := range errand.Inputs {
		if in.Edge == nil && in.Path != "" {
			return errand.Rule + " " + in.Path
		}
	}
	return ""
}

// pathOf returns the path of a file that fileOf named.
func pathOf(file string) string {
	_, path, _ := strings.Cut(file, " ")
	return path
}

// openFiles returns the paths of the files that were given away and are not done with.
func (x *execution) openFiles() (paths []string) {
	for _, i := range x.ready[:min(len(x.ready), farAhead)] {
		if file := x.fileOf(i); file != "" {
			path := pathOf(file)
			if _, opened := x.files[file]; opened && !slices.Contains(paths, path) {
				paths = append(paths, path)
			}
		}
	}
	return paths
}

// farAhead is how many ready tasks are looked at for one that reads an open file. The pieces
// of a thousand takes of a minute are no more.
const farAhead = 10_000

// chooseAway returns the place in the list of ready tasks of the one to be given to one of so
// many machines next; -1 for none. It is the first that may be, or, of those about as urgent
// that read files, one of the open file that fewest work on.
func (x *execution) chooseAway(machines int) int {
	first, fresh, best := -1, -1, -1
	open := map[string]bool{}
	for k, i := range x.ready[:min(len(x.ready), farAhead)] {
		if !x.isForOthers(i) {
			continue
		}
		file := x.fileOf(i)
		if first < 0 {
			if first = k; file == "" {
				return first
			}
		}
		if x.turn(i) != x.turn(x.ready[first]) || x.rank(i) != x.rank(x.ready[first]) {
			break
		}
		away, opened := x.files[file]
		switch {
		case file == "":
		case !opened && fresh < 0:
			fresh = k
		case opened:
			open[file] = true
			if best < 0 || away < x.files[x.fileOf(x.ready[best])] {
				best = k
			}
		}
	}
	if best >= 0 && (fresh < 0 || len(open) >= max(1, machines) ||
		!x.hasRoom(x.fileOf(x.ready[fresh]), open)) {
		return best
	}
	if fresh >= 0 {
		return fresh
	}
	return first
}

// hasRoom reports whether a file has room elsewhere beside the open ones, of which tasks are
// ready, and those that tasks read which are away.
func (x *execution) hasRoom(file string, open map[string]bool) bool {
	space := int64(0)
	if x.Away != nil { // a forecast may be of nobody
		space = x.Away.Space()
	}
	if space == 0 {
		return true
	}
	used := map[string]bool{file: true}
	for f, away := range x.files {
		if away > 0 || open[f] {
			used[f] = true
		}
	}
	for f := range used {
		space -= x.sizes[pathOf(f)]
	}
	return space >= 0
}

// sizesOf returns how large the files from elsewhere are that tasks read, in bytes, by their
// paths. A run looks once, when it begins; what is not there takes no room.
func sizesOf(tasks []Task) map[string]int64 {
	sizes := map[string]int64{}
	for _, t := range tasks {
		if t.Errand == nil {
			continue
		}
		for _, in := range t.Errand.Inputs {
			if _, known := sizes[in.Path]; known || in.Edge != nil {
				continue
			}
			sizes[in.Path] = 0
			if info, err := os.Stat(in.Path); err == nil {
				sizes[in.Path] = info.Size()
			}
		}
	}
	return sizes
}
