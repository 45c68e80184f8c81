package manifest

import "strings"

// instrument is a kind of part that file names speak of.
type instrument struct {
	part    string   // as it is written on a label, in English
	section string   // the section such a part usually sits in
	words   []string // in small letters without accents; several words have spaces
	short   []string // abbreviations, believed only where nothing longer is found
}

// instruments is in the order of a score, which is the order of seats in a
// first draft. English, with the Italian, German and French names that parts
// carry; umlauts also as ue, oe, ae. Where two match, the longer one counts,
// so that "bass clarinet" is no bass.
var instruments = []instrument{
	{"Conductor", "conductor", []string{"conductor", "direttore", "direttrice", "dirigent", "dirigentin",
		"chef d orchestre"}, nil},

	{"Piccolo", "winds", []string{"piccolo", "ottavino", "piccolofloete", "piccoloflote", "petite flute",
		"flauto piccolo"}, []string{"picc"}},
	{"Flute", "winds", []string{"flute", "flutes", "flauto", "flauti", "floete", "flote", "querfloete", "querflote",
		"flute traversiere"}, []string{"fl"}},
	{"Alto Flute", "winds", []string{"alto flute", "flauto contralto", "altfloete", "altflote"}, nil},
	{"Recorder", "winds", []string{"recorder", "recorders", "blockfloete", "blockflote", "flauto dolce", "flute a bec"},
		nil},
	{"Oboe", "winds", []string{"oboe", "oboes", "oboi", "hautbois"}, []string{"ob"}},
	{"English Horn", "winds", []string{"english horn", "cor anglais", "corno inglese", "englischhorn"}, []string{"eh"}},
	{"Clarinet", "winds", []string{"clarinet", "clarinets", "clarinetto", "clarinetti", "klarinette", "klarinetten",
		"clarinette", "clarinettes"}, []string{"cl", "clar"}},
	{"Bass Clarinet", "winds", []string{"bass clarinet", "clarinetto basso", "bassklarinette", "clarinette basse"},
		[]string{"bcl"}},
	{"Bassoon", "winds", []string{"bassoon", "bassoons", "fagotto", "fagotti", "fagott", "fagotte", "basson",
		"bassons"}, []string{"bsn", "fg"}},
	{"Contrabassoon", "winds", []string{"contrabassoon", "contrafagotto", "controfagotto", "kontrafagott",
		"contrebasson"}, []string{"cbsn"}},
	{"Soprano Saxophone", "winds", []string{"soprano sax", "soprano saxophone", "sopransaxophon", "sassofono soprano",
		"saxophone soprano"}, nil},
	{"Alto Saxophone", "winds", []string{"alto sax", "alto saxophone", "altsaxophon", "altosax", "sassofono contralto",
		"saxophone alto"}, nil},
	{"Tenor Saxophone", "winds", []string{"tenor sax", "tenor saxophone", "tenorsaxophon", "tenorsax",
		"sassofono tenore", "saxophone tenor"}, nil},
	{"Baritone Saxophone", "winds", []string{"baritone sax", "bari sax", "baritone saxophone", "baritonsaxophon",
		"sassofono baritono", "saxophone baryton"}, nil},
	{"Saxophone", "winds", []string{"saxophone", "saxophon", "sassofono", "sax"}, nil},

	{"Horn", "brass", []string{"horn", "horns", "french horn", "corno", "corni", "hoerner", "horner", "waldhorn",
		"cor d harmonie"}, []string{"hn", "hrn", "cor"}},
	{"Trumpet", "brass", []string{"trumpet", "trumpets", "tromba", "trombe", "trompete", "trompeten", "trompette",
		"trompettes"}, []string{"tpt", "trp"}},
	{"Cornet", "brass", []string{"cornet", "cornets", "cornetta", "kornett"}, nil},
	{"Flugelhorn", "brass", []string{"flugelhorn", "fluegelhorn", "flicorno", "bugle"}, nil},
	{"Trombone", "brass", []string{"trombone", "trombones", "tromboni", "posaune", "posaunen"}, []string{"tbn", "trb"}},
	{"Bass Trombone", "brass", []string{"bass trombone", "trombone basso", "bassposaune", "trombone basse"}, nil},
	{"Euphonium", "brass", []string{"euphonium", "eufonio", "tenorhorn", "tenor horn", "baritone horn"},
		[]string{"euph"}},
	{"Tuba", "brass", []string{"tuba", "tubas", "basstuba", "sousaphone"}, []string{"tba"}},

	{"Timpani", "percussion", []string{"timpani", "pauken", "timbales", "kettledrums"}, []string{"timp"}},
	{"Percussion", "percussion", []string{"percussion", "percussions", "percussioni", "schlagwerk", "schlagzeug",
		"drums", "drum kit", "drumset", "batteria", "batterie"}, []string{"perc"}},
	{"Snare Drum", "percussion", []string{"snare", "snare drum", "kleine trommel", "rullante", "caisse claire"}, nil},
	{"Glockenspiel", "percussion", []string{"glockenspiel", "campanelli"}, []string{"glsp"}},
	{"Xylophone", "percussion", []string{"xylophone", "xylophon", "silofono", "xilofono"}, nil},
	{"Marimba", "percussion", []string{"marimba"}, nil},
	{"Vibraphone", "percussion", []string{"vibraphone", "vibraphon", "vibrafono", "vibes"}, nil},

	{"Piano", "keys", []string{"piano", "pianoforte", "klavier"}, []string{"pno"}},
	{"Organ", "keys", []string{"organ", "organo", "orgel", "orgue"}, nil},
	{"Harpsichord", "keys", []string{"harpsichord", "cembalo", "clavicembalo", "clavecin"}, nil},
	{"Celesta", "keys", []string{"celesta", "celeste"}, nil},
	{"Keyboard", "keys", []string{"keyboard", "keyboards", "tastiera"}, []string{"keys", "kbd"}},
	{"Accordion", "keys", []string{"accordion", "fisarmonica", "akkordeon", "accordeon"}, nil},

	{"Harp", "plucked", []string{"harp", "arpa", "harfe", "harpe"}, []string{"hp"}},
	{"Guitar", "plucked", []string{"guitar", "guitars", "chitarra", "gitarre", "guitare"}, []string{"gtr"}},
	{"Bass Guitar", "plucked", []string{"bass guitar", "electric bass", "e bass", "ebass", "bassgitarre",
		"basso elettrico", "guitare basse"}, nil},
	{"Mandolin", "plucked", []string{"mandolin", "mandolino", "mandoline"}, nil},
	{"Ukulele", "plucked", []string{"ukulele", "uke"}, nil},

	{"Soprano", "voices", []string{"soprano", "sopranos", "soprani", "sopran"}, []string{"sop"}},
	{"Mezzo-Soprano", "voices", []string{"mezzo", "mezzosoprano", "mezzo soprano", "mezzosopran"}, nil},
	{"Alto", "voices", []string{"alto", "altos", "alti", "contralto"}, []string{"alt"}},
	{"Tenor", "voices", []string{"tenor", "tenors", "tenore", "tenori"}, []string{"ten"}},
	{"Baritone", "voices", []string{"baritone", "baritono", "bariton", "baryton"}, []string{"bar"}},
	// A bass sings among voices and is a double bass elsewhere: see guessWith.
	{"Bass", "voices", []string{"bass", "basso", "bassi", "basse"}, nil},

	{"Violin", "strings", []string{"violin", "violins", "violino", "violini", "violine", "violinen", "geige", "geigen",
		"violon", "violons", "fiddle"}, []string{"vln", "vn", "vl"}},
	{"Viola", "strings", []string{"viola", "violas", "viole", "bratsche", "bratschen"}, []string{"vla", "va"}},
	{"Cello", "strings", []string{"cello", "cellos", "celli", "violoncello", "violoncelli", "violoncelle",
		"violoncelles"}, []string{"vlc", "vcl", "vc"}},
	{"Double Bass", "strings", []string{"double bass", "doublebass", "contrabass", "contrabbasso", "contrabbassi",
		"kontrabass", "contrebasse", "string bass", "upright bass"}, []string{"db", "kb", "cb"}},
}

// numerals are the words for the number of a part besides 1 to 20.
var numerals = map[string]int{
	"i": 1, "ii": 2, "iii": 3, "iv": 4,
	"1st": 1, "2nd": 2, "3rd": 3, "4th": 4, "first": 1, "second": 2, "third": 3, "fourth": 4,
	"primo": 1, "prima": 1, "secondo": 2, "seconda": 2, "terzo": 3, "terza": 3, "quarto": 4, "quarta": 4,
	"erste": 1, "zweite": 2, "dritte": 3, "vierte": 4, "premier": 1, "premiere": 1, "deuxieme": 2, "troisieme": 3,
}

// noise is words in file names that name neither a player nor a part: what
// cameras, messengers and tired people add.
var noise = wordSet(`img vid video videos mvi dsc dscn dscf pxl gopr gp gx gh mov movie clip clips rec recording
	recorded record audio sound mic mics micro mikro microphone zoom tascam phone iphone ipad android samsung pixel
	cam camera kamera handy telefon smartphone ton bild memo take takes aufnahme enregistrement registrazione final
	finale fin new neu edit edited export exported copy kopie copia copie version ver v whatsapp whats app wa
	signal screen at am pm uhr upload uploads uploaded untitled track file files sync synced best ok good gut hd
	uhd fullhd fps trim trimmed cut raw master mix stereo mono wav mp k p intake inbox incoming download downloads
	dropbox part parts stimme voix parte the and und et mit con with for my mein meine full fixed redo retake try
	versuch attempt day`)

// months count as noise beside a number, where they are a date and not a
// person.
var months = wordSet(`jan feb mar apr may jun jul aug sep sept oct nov dec january february march april june july august
	september october november december januar februar maerz marz mai juni juli oktober dezember`)

// particles stay small within a name.
var particles = wordSet(`van von vom zu zum zur de der den del della di da dos du la le ten ter af av y`)

// wordSet returns the words of a list for looking up.
func wordSet(list string) map[string]bool {
	set := map[string]bool{}
	for w := range strings.FieldsSeq(list) {
		set[w] = true
	}
	return set
}
