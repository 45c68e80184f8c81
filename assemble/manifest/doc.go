// Package manifest reads production.yaml, the written description of one
// film, into a checked [Production], and writes measured offsets back into it
// without touching any other byte.
//
// [Load] and [Parse] are strict: an unknown or repeated key, a value of the
// wrong type or out of range, a name that is taken, a section or take nobody
// has is a [fault.Fault] with line, column and a hint. All faults of a file
// come back together as a [fault.List], because a person who mends a file
// wants to mend it once. A Production that comes back is whole: every musical
// position in it is inside the piece and has become guide time.
//
// The package also reads and writes sync.yaml, what sync measured ([Measured]),
// drafts a first production.yaml from a folder of takes ([Scaffold]), and
// copies measured values into the manifest ([Pin]).
//
// It opens the score when there is one, and never a take: whether a file is
// there and is a recording is for package media to say. It draws no
// conclusions either: what happens where the manifest is silent is for the
// plan, except for the defaults below.
//
// # The file
//
// UTF-8 YAML of at most 1 MiB, one document, without anchors, aliases, merge
// keys and tags. Scalars are read as the text they are written as, so 16:9,
// 01:12.500 and m33.2 need no quotes; a colour does ("#14161a"), because # begins a
// comment. Names of takes and deliverables are letters, digits, '-', '_' and
// '.', and no two differ only in capitals, since they become file names.
//
//	version: 1                  # always
//	title:                      # always; composer, ensemble, dedication: text
//	tempo:                      # always
//	  count_in: {measures: 8, cue: {measure: 5, beat: 1}}
//	                            # 8 when not given; measures: 0 for none; the cue of
//	                            # 8 measures is measure 5, of 4 measure 3
//	  pick_up: 1                # beats before measure 1, which are measure 0
//	  changes:                  # always, the first at measure 1
//	    - {measure: 1, meter: 4/4, beat: quarter, bpm: 96}
//	    - {measure: 60, ramp_to: 54, until: 64}
//	  measures: 72              # always: how many the piece has
//	  score: round.musicxml     # instead of pick_up, changes and measures: MIDI or MusicXML
//	  holds: [{at: m71.2, seconds: 1.5}]
//	guide:
//	  pitch: 440                # A4 in hertz
//	  tail: 4                   # seconds after the last measure
//	  levels: {click: 0, drone: 0, mix: 0}    # dB on top of the usual ones, or off
//	  subdivisions: 1           # clicks in a beat, or written: what the meter writes
//	  count_tones: false
//	  drone: [{measure: count-in, note: D3, fifth: true | just | equal}, {measure: 9, note: none}]
//	  variants:                 # guides of some players' own; what is not said is as above
//	    - {name: from-33, from: m33, to: m49, with: mix | others,
//	       levels: , subdivisions: , count_tones: }
//	sections: [{name: winds, gain: -1.5}]
//	seats: 16                   # how many there were when seats were given
//	release: yes | no | audio-only          # of takes without one; not written: nobody's is known
//	takes:                      # in the order of seats, where none is given
//	  - name: oboe-1            # always
//	    player: , part: , section:
//	    video: {file: a.mov, offset: , cue_at: , drift_ppm: , rotate: 0|90|180|270, colour: , range: }
//	    audio: {file: a.wav, offset: , cue_at: , drift_ppm: }
//	    guide: from-33          # the variant of the guide it is recorded to
//	    expected: true          # instead of files: not in yet, the seat is kept
//	    release: yes | no | audio-only, hide_name: false
//	    gain: 0, pan: 0 | auto, mute: false, fit: crop | fit
//	    trim: {from: m1, to: m40}
//	    crop: {x: 0.5, y: 0.5, zoom: 1}, seat: 7
//	mix: {loudness: -16, true_peak: -1, room: 0, balance: auto | manual}
//	picture: {fps: 30, aspect: 16:9, gutter: 6, margin: 0, background: "#14161a",
//	  labels: true, lead_in: 3, tail: 3}
//	shots: [{from: start, to: , show: tutti | soli | solo | card,
//	  section: , take: , text: , labels: }]
//	deliver: [{name: final, canvas: 1920x1080}]
//	callsheet: {language: en | de | it, due: 2031-06-12 20:00, send_to: , contact: , notes: ,
//	  strings: {step-hold: "Sit still for {tail} seconds."}}
//
// The values shown for guide, mix, picture and deliver are those in force
// when nothing is written. No shots means the whole film is tutti. A section
// exists as soon as a take names it; it is listed under sections to give it a
// gain or a place in the order.
//
// A take that is recorded to a guide of a part of the piece is placed by that
// guide's cue, and seen and heard in those measures only unless it has a trim
// of its own. Its offset and cue_at are written as for any other take.
//
// # Times
//
// A time is guide time: seconds ("12.5", may be negative), minutes or hours
// and seconds ("01:12.500", "1:02:03.5"), a measure ("m33": its first beat), a
// beat in a measure ("m33.2": the second beat of the meter's beats, always a
// whole number, so "m33.10" is the tenth), or in shots and trims one of the
// film's ends, "start" and "end". m0 is the pick-up.
//
// Units: seconds, decibels, parts per million, pixels, percent for pan.
package manifest
