// Package store keeps what has been computed on disk, so that a run costs what
// changed and not what exists.
//
// An [Action] is the complete description of one computation: the rule and its
// version, every argument, the content of every input and the form of the
// output. Its [ID] is a SHA-256 over that description, every part framed by its
// length, so that no two descriptions share a key. The store maps the ID to the
// output:
//
//	key := store.NewAction("conform").Version(3).Arg("size", size).
//		Input("take", hash).Ext(".mkv")
//	path, err := s.Put(ctx, key, func(tmp string) error { ... })
//
// Which call to pick: [Store.Put] gets or makes an output; [Store.Get] only
// looks; [Store.HashFile] names the content of a source file; [Store.Deliver]
// copies an output to where a person looks for it; [Publish] writes any other
// file whole or not at all.
//
// What holds, also after a kill or a full disk:
//
//   - An output is made in a scratch folder, synced, renamed, and only then
//     described by an index file that is itself synced and renamed. Whatever a
//     killed run leaves is swept by the next one that takes the lock.
//   - An entry that is short, damaged or does not fit its description is a miss
//     with a reason: never an error and never used.
//   - Sizes are compared on every use. Bytes are compared when anything about
//     the file (times, inode) is not as it was recorded, and on [Store.Check].
//   - One process at a time writes: see [Store.Lock] and [Store.LockWait].
//     Looking needs no lock.
//
// The package does not run anything, knows nothing of media and never touches
// source files. Sizes are in bytes, times in seconds of the injected clock. It
// needs a Unix (flock, inode numbers).
//
// # Folder
//
//	lock                the lock and the process number of its holder
//	hashes              remembered content hashes of source files
//	ab/abcd….mkv        one output file, or abcd….d/ with several
//	ab/abcd….entry      what it is, written after it
//	ab/tmp-PID-…/       scratch folder of a running action
package store
