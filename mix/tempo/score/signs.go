package score

// Signs are what a measure says about where to go on, in the words of MusicXML 4.0.
// The zero value says nothing.
type Signs struct {
	Forward   bool // a repeat begins here
	Backward  bool // a repeat ends here
	Times     int  // how often a backward repeat has its passage played; 2 is usual
	AfterJump bool // a backward repeat is played after a da capo or dal segno too

	Endings     []int // numbers of an ending that begins here
	EndingStops bool  // at its end

	Segno, Coda []string // names of the signs here; "" for one without a name
	Jumps       []Jump   // at its end
}

// Jump leads away from the end of a measure.
type Jump struct {
	Kind     JumpKind
	To       string // name of the sign; "" for the only one
	Goal     Goal   // of a da capo or dal segno
	Repeats  bool   // of a da capo or dal segno: repeats are played again after it
	TimeOnly []int  // the passes in which it holds; none: as [Unroll] says
}

// JumpKind is a kind of jump.
type JumpKind int

// The jumps. Fine leads to the end of the piece.
const (
	DaCapo JumpKind = iota
	DalSegno
	ToCoda
	Fine
)

// String returns the name of a jump as scores write it.
func (k JumpKind) String() string {
	return [...]string{"da capo", "dal segno", "to coda", "fine"}[k]
}

// Goal is what a da capo or dal segno says about where the piece ends after it.
type Goal int

// The goals. Without one, fine and coda are taken, whichever comes first.
const (
	AnyGoal Goal = iota
	AlFine
	AlCoda
)
