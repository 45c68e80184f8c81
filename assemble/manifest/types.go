package manifest

import "ripieno/assemble/production"

// What this package reads and writes are values of package production. These are
// its names for them.
type (
	Production  = production.Production
	Time        = production.Time
	Edge        = production.Edge
	Section     = production.Section
	Take        = production.Take
	File        = production.File
	Crop        = production.Crop
	Asset       = production.Asset
	Mix         = production.Mix
	Picture     = production.Picture
	Shot        = production.Shot
	Transition  = production.Transition
	Deliverable = production.Deliverable
	Chapter     = production.Chapter
	Note        = production.Note
	Strip       = production.Strip
	Clean       = production.Clean
	Mute        = production.Mute
	Band        = production.Band
	Compress    = production.Compress
	Hall        = production.Hall
	Place       = production.Place
	Guide       = production.Guide
	GuideSound  = production.GuideSound
	Variant     = production.Variant
	Drone       = production.Drone
	CallSheet   = production.CallSheet
	Release     = production.Release
)

// The ends of the film, and a moment between them.
const (
	Moment    = production.Moment
	FilmStart = production.FilmStart
	FilmEnd   = production.FilmEnd
)
