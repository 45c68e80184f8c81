// Package takes brings what players sent from files to placed, judged
// recordings. A [Take] has a video, an audio or both, and knows which of them is
// heard; a [Set] is all of them.
//
// [Inspect] looks at the files, [Locate] also listens to them and places all of
// them together on guide time. From there [Set.Facts] is what the plan needs to
// know, [Set.Checks] measures what is wrong with a take and judges it, and
// [Set.Playing] describes how it was played. What is wrong with one file stays
// with that file: it has its Err set, or a place that is not sure, and stops no
// other.
//
// A take file is read and nothing else. The package writes sync.yaml and the
// picture of where takes lie, and keeps measurements in the store.
package takes
