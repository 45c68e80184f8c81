// Package interchange writes a production down in open formats, for whoever
// finishes it elsewhere: a timeline as OpenTimelineIO ([OTIO]), edit decision
// lists as CMX 3600 ([EDL]), places of recordings as comma-separated values
// ([CSV]).
//
// It is pure: values go in, bytes come out, and the same values give the same
// bytes. It computes nothing about music, layout or sound and opens no file.
//
// # Time
//
// A timeline counts its own frames from 0, the first frame of the film, and
// shows them as timecode from 01:00:00:00. The media keep their own time: the
// seconds of a file count from the beginning of its earliest stream, which is
// timecode 00:00:00:00 in an edit list. Guide time g belongs to second t of a
// file by g = offset + t·(1 + drift·1e-6), so a second of the timeline takes
// 1/(1 + drift·1e-6) seconds of the file: that is the speed of its clip.
//
// A clip covers whole frames of the timeline for which its file exists from
// end to end, whether its reader knows about speed or not, so up to one frame
// at either end of a recording is left out.
package interchange
