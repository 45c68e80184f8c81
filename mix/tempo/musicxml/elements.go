package musicxml

import "encoding/xml"

// empty is an element of which only the presence counts.
type empty struct{}

// element is any child of a measure that has to do with time. One type holds
// the fields of all kinds; those of the others stay empty. Numbers are text until
// they are read: a wrong one of a kind that does not count must not refuse the score.
type element struct {
	XMLName xml.Name

	// note, backup, forward
	Duration string  `xml:"duration"`
	Chord    *empty  `xml:"chord"`
	Grace    *empty  `xml:"grace"`
	Cue      *empty  `xml:"cue"`
	Rest     *empty  `xml:"rest"`
	Pitch    *pitch  `xml:"pitch"`
	Ties     []kind  `xml:"tie"`
	Fermatas []empty `xml:"notations>fermata"`
	Caesuras []empty `xml:"notations>articulations>caesura"`

	// attributes
	Divisions string      `xml:"divisions"`
	Times     []signature `xml:"time"`
	Transpose []transpose `xml:"transpose"`
	Keys      []struct {
		Fifths string `xml:"fifths"`
		Mode   string `xml:"mode"`
	} `xml:"key"`

	// direction
	Metronomes []metronome `xml:"direction-type>metronome"`
	Sounds     []sound     `xml:"sound"`
	Offset     string      `xml:"offset"`
	Words      []string    `xml:"direction-type>words"`
	Rehearsal  []string    `xml:"direction-type>rehearsal"`
	Segno      []empty     `xml:"direction-type>segno"`
	Coda       []empty     `xml:"direction-type>coda"`

	// barline
	Repeat []struct {
		Direction string `xml:"direction,attr"`
		Times     string `xml:"times,attr"`
		AfterJump string `xml:"after-jump,attr"`
	} `xml:"repeat"`
	Endings []struct {
		Number string `xml:"number,attr"`
		Type   string `xml:"type,attr"`
	} `xml:"ending"`
	Location    string  `xml:"location,attr"`
	BarFermatas []empty `xml:"fermata"`
	BarSegno    []empty `xml:"segno"`
	BarCoda     []empty `xml:"coda"`

	sound // a sound element that is itself a child of the measure
}

// kind is an element of which only the attribute type matters.
type kind struct {
	Type string `xml:"type,attr"`
}

// pitch is a note as written; the octave from middle C is 4. Numbers stay text until they
// are read, so that an error can say where they stand.
type pitch struct {
	Step   string `xml:"step"`
	Alter  string `xml:"alter"`
	Octave string `xml:"octave"`
}

// transpose is how many semitones and octaves a part sounds from what is written.
type transpose struct {
	Chromatic string `xml:"chromatic"`
	Octaves   string `xml:"octave-change"`
}

// signature is a time signature: several pairs are added, as in 3/8 + 2/8.
type signature struct {
	Beats    []string `xml:"beats"`
	BeatType []string `xml:"beat-type"`
	Senza    *empty   `xml:"senza-misura"`
}

// metronome is a printed tempo: a note value, its dots and how many of them a minute has.
type metronome struct {
	BeatUnit  []string `xml:"beat-unit"`
	Dots      []empty  `xml:"beat-unit-dot"`
	PerMinute string   `xml:"per-minute"`
}

// sound is what playback is told beside the notes: a tempo in quarters a minute, and jumps.
type sound struct {
	Tempo    string `xml:"tempo,attr"`
	Dacapo   string `xml:"dacapo,attr"`
	Dalsegno string `xml:"dalsegno,attr"`
	ToCoda   string `xml:"tocoda,attr"`
	Segno    string `xml:"segno,attr"`
	Coda     string `xml:"coda,attr"`
	Fine     string `xml:"fine,attr"`
	TimeOnly string `xml:"time-only,attr"`

	ForwardRepeat string `xml:"forward-repeat,attr"`
}

// timed are the children of a measure that have to do with time.
var timed = map[string]bool{
	"attributes": true, "note": true, "backup": true, "forward": true, "direction": true, "sound": true,
	"barline": true,
}

// scorePart is a part's entry in the list at the beginning of a score.
type scorePart struct {
	ID   string `xml:"id,attr"`
	Name string `xml:"part-name"`
}
