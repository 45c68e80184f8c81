// Package manifest reads production.yaml, the written description of one
// film, into a checked [production.Production], and writes measured offsets back
// into it without touching any other byte.
//
// [Load] and [Parse] are strict: an unknown or repeated key, a value of the
// wrong type or out of range, a name that is taken, a section or take nobody
// has is a [fault.Fault] with line, column and a hint. All faults of a file
// come back together as a [fault.List], because a person who mends a file
// wants to mend it once. A Production that comes back is whole: every musical
// position in it is inside the piece and has become guide time.
//
// The package also writes sync.yaml, what sync measured ([Measured]), drafts a
// first production.yaml from a folder of takes ([Scaffold]), and copies measured
// values into the manifest ([Pin]).
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
// The schema in schema.go is the one list of all keys, with the type, unit,
// default and meaning of each. Readers take ranges and words from it, hints
// quote it, and `ripieno keys` prints it ([Keys], [Thresholds]).
// examples/every-key/production.yaml shows each key in its place.
//
// No shots means the whole film is tutti. A section exists as soon as a take
// names it; it is listed under sections to give it a gain, a target or a place
// in the order.
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
