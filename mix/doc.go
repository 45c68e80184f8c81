// Package mix turns recordings into one stereo programme: every take becomes a
// [Strip], [PreMaster] adds the strips up, [Master] brings the sum to a
// loudness under a true-peak ceiling, [Dither] rounds it for a file.
//
//	analysis, err := mix.Analyse(source)     // how loud, which channels are alive
//	gains := mix.Balance(strips, analyses, sectionGain)
//	sum, err := mix.PreMaster(strips, mix.Options{Start: a, Length: n, Room: 0.15})
//	programme, report, err := mix.Master(open, -16, -1)
//	file := mix.Dither(programme, 24, 1)
//
// Everything streams in blocks, so memory does not grow with the length, and
// everything is deterministic: the samples are the same bit for bit whatever
// the sizes of the reads and the number of processors.
//
// The bus runs at [audio.Rate] and counts guide frames: frame 0 is the first
// sample of the guide. Levels are decibels of full scale, loudness is LUFS,
// positions run from −1 (left) to 1 (right). A sample of a source that is NaN,
// infinite or absurdly large counts as silence and never reaches the bus.
//
// The package does not read files, does not find out where a take belongs and
// knows no measures or beats: whoever calls it has turned them into frames.
package mix
