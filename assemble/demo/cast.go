package demo

import (
	"ripieno/assemble/demo/figure"
	"ripieno/assemble/demo/instrument"
	"ripieno/mix/audio"
)

// player is one member of the ensemble, all of them invented.
type player struct {
	take, name, part, section string
	kind                      instrument.Kind
	look                      figure.Look
	cents                     float64 // how far from A = 440 the instrument is tuned
	softClap                  float64 // how much softer than others this player claps, dB
	settings                  string  // more keys of the take for production.yaml

	camera *camera     // nil: sent no video
	mic    *microphone // nil: sent no separate sound

	// Drawn by lot in [draw].
	biasMS, jitterMS, clapErrorMS, phase float64
}

// clock is when a recording runs: guide = offset + t·(1 + drift·1e-6), from
// t = 0 for length seconds.
type clock struct {
	offset, drift, length float64
}

// clock returns c as the mix knows it.
func (c clock) clock() audio.Clock { return audio.Clock{Offset: c.offset, Drift: audio.PPM(c.drift)} }

// guide returns the guide time of the moment t seconds into the file.
func (c clock) guide(t float64) float64 { return c.clock().Guide(t) }

// file returns the inverse of guide.
func (c clock) file(guide float64) float64 { return c.clock().File(guide) }

// microphone is how a device hears.
type microphone struct {
	file     string
	clock    clock
	rate     int     // hertz
	channels int     // 1 or 2
	level    float64 // of the playing, dBFS RMS
	wet      float64 // sound of the room against the direct sound, 0 to 1
	noise    float64 // its own noise and the room's, dBFS RMS
	hum      float64 // 50 Hz mains hum, dBFS; 0: none
	cut      float64 // below this frequency in hertz it hears less and less
	bitrate  string  // of AAC; "": 24-bit WAV
}

// camera is a phone that films and hears.
type camera struct {
	microphone
	view           figure.View
	fpsNum, fpsDen int
	vfr            bool // frames come unevenly, around the rate
}

// phone returns the sound of most phones in most rooms.
func phone(file string, rate, channels int) microphone {
	return microphone{file: file, rate: rate, channels: channels, level: -26, wet: 0.35, noise: -62, cut: 110,
		bitrate: "128k"}
}

// closeMic returns a good microphone nearby, recorded apart.
func closeMic(file string, channels int) *microphone {
	return &microphone{file: file, rate: 48000, channels: channels, level: -24, wet: 0.08, noise: -74, cut: 35}
}

// lamplighters returns the ensemble for the piece: everything that the seed does
// not decide. The files are as different as those that people send in.
func lamplighters() []player {
	return []player{
		{take: "flute", name: "Nell Orrin", part: "Flute", section: "winds", kind: instrument.Flute, cents: 3,
			look: figure.Look{Instrument: figure.Flute, Hair: figure.Bun, Skin: 0xe8b894, HairColour: 0x5a3a28,
				Shirt: 0x4f7d7a, Phones: 0xe06c4f,
				Wall: 0xcdb58f, Accent: 0x9a4f4a, Room: figure.Window, LampLeft: true},
			camera: &camera{phone("intake/nell.mp4", 48000, 2), figure.View{W: 640, H: 360}, 30, 1, false}},
		{take: "oboe", name: "Mara Voss", part: "Oboe", section: "winds", kind: instrument.Oboe, cents: -2,
			settings: "    crop: {x: 0.5, y: 0.39}             # filmed upright: keep her head and the oboe\n",
			look: figure.Look{Instrument: figure.Oboe, Hair: figure.Braid, Skin: 0xc98d63, HairColour: 0x2b211d,
				Shirt: 0xb4553f, Phones: 0xf0e3c8,
				Wall: 0x8fa59a, Accent: 0xd9a95b, Room: figure.Shelf, Glasses: true},
			camera: &camera{roomier(phone("intake/mara.mov", 48000, 1)), figure.View{W: 360, H: 640}, 30000, 1001,
				false},
			mic: closeMic("intake/mara.wav", 1)},
		{take: "clarinet", name: "Teodor Quill", part: "Clarinet", section: "winds", kind: instrument.Clarinet,
			cents: 4, mic: &microphone{file: "intake/teodor.m4a", rate: 44100, channels: 2, level: -25, wet: 0.25,
				noise: -66, cut: 60, bitrate: "160k"}},
		{take: "horn", name: "Ilse Brandt", part: "Horn", section: "winds", kind: instrument.Horn,
			cents: -4, softClap: 6,
			settings: "    crop: {x: 0.5, y: 0.39}             # her phone stood upright, and says so in the file\n",
			look: figure.Look{Instrument: figure.Horn, Hair: figure.Bob, Skin: 0xd7a27c, HairColour: 0xb9b3aa,
				Shirt: 0x39496b, Phones: 0xc9ced2,
				Wall: 0xb98f7a, Accent: 0x6d8a86, Room: figure.Panels, LampLeft: true},
			camera: &camera{louder(phone("intake/ilse.mov", 44100, 1)), figure.View{W: 640, H: 360, Turn: 90}, 30, 1,
				false}},
		{take: "violin", name: "Runa Thistle", part: "Violin", section: "strings", kind: instrument.Violin, cents: 2,
			look: figure.Look{Instrument: figure.Violin, Hair: figure.Long, Skin: 0xf0c9a8, HairColour: 0xa5562e,
				Shirt: 0x6a4c77, Phones: 0xf2d06b,
				Wall: 0x9fb0a0, Accent: 0xb05d4f, Room: figure.Shelf, LampLeft: true},
			camera: &camera{roomier(phone("intake/runa.mp4", 48000, 2)), figure.View{W: 1280, H: 720}, 25, 1, false},
			mic:    closeMic("intake/runa.wav", 1)},
		{take: "viola", name: "Davít Sørel", part: "Viola", section: "strings", kind: instrument.Viola, cents: -3,
			look: figure.Look{Instrument: figure.Viola, Hair: figure.Short, Skin: 0xb97d55, HairColour: 0x33261f,
				Shirt: 0x7c8f4e, Phones: 0x2f3e55,
				Wall: 0xc8a38a, Accent: 0x5c7392, Room: figure.Window, Glasses: true},
			camera: &camera{humming(phone("intake/davit.mp4", 44100, 1)), figure.View{W: 640, H: 360}, 25, 1, false}},
		{take: "cello", name: "Bram Ostler", part: "Cello", section: "strings", kind: instrument.Cello, cents: 0,
			look: figure.Look{Instrument: figure.Cello, Hair: figure.Cap, Skin: 0xe3b08a, HairColour: 0x8c8f94,
				Shirt: 0x8c4a4f, Phones: 0x4b5d52,
				Wall: 0xa9a183, Accent: 0x3f5f63, Room: figure.Panels, Beard: true},
			camera: &camera{roomier(phone("intake/bram.mov", 48000, 1)), figure.View{W: 640, H: 360}, 30000, 1001,
				false},
			mic: closeMic("intake/bram.wav", 2)},
		{take: "guitar", name: "Zoë Fell", part: "Guitar", section: "ground", kind: instrument.Guitar, cents: 1,
			look: figure.Look{Instrument: figure.Guitar, Hair: figure.Bob, Skin: 0xd9a883, HairColour: 0x201c22,
				Shirt: 0x3f7f94, Phones: 0xe5e0d5,
				Wall: 0xc2a0a0, Accent: 0xa8583f, Room: figure.Plant},
			camera: &camera{softer(phone("intake/zoe.mp4", 44100, 2)), figure.View{W: 640, H: 360}, 30, 1, false}},
		{take: "glockenspiel", name: "Pim Okonda", part: "Glockenspiel", section: "ground",
			kind: instrument.Glockenspiel, cents: 0,
			settings: "    gain: -3                            # bells carry far\n",
			look: figure.Look{Instrument: figure.Glockenspiel, Hair: figure.Curls, Skin: 0x8a5a3c, HairColour: 0x1f1815,
				Shirt: 0xe3b04b, Phones: 0x3d5a80,
				Wall: 0x7f93a8, Accent: 0xc46f4e, Room: figure.Plant, LampLeft: true},
			camera: &camera{phone("intake/pim.mp4", 48000, 2), figure.View{W: 640, H: 360}, 30, 1, true}},
		// Expected, and not in yet: nothing is made for this one.
		{take: "double-bass", name: "Otto Larch", part: "Double bass", section: "ground"},
	}
}

// What is wrong with some of the phones.
func roomier(m microphone) microphone { m.wet, m.noise = 0.6, -54; return m }
func louder(m microphone) microphone  { m.level = -14; return m }
func softer(m microphone) microphone  { m.level, m.noise = -43, -68; return m }
func humming(m microphone) microphone { m.hum = -50; return m }
