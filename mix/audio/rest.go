package audio

// Rest is what a source has made and nobody has read yet. A source that makes
// its frames in blocks of its own is read through a Rest in blocks of any size.
// The zero value holds nothing.
type Rest struct {
	block Block
	at    int // frames of block that were read
}

// Read fills dst and returns how many frames it wrote. Whenever nothing is left
// it calls more for the next block, which must stay as it is until the next
// call; a block without frames ends the reading, and may be followed by others
// later. Fewer frames than dst has mean that more had none.
func (r *Rest) Read(dst Block, more func() Block) int {
	done := 0
	for done < dst.Frames() {
		if r.at == r.block.Frames() {
			if r.block, r.at = more(), 0; r.block.Frames() == 0 {
				break
			}
		}
		n := min(dst.Frames()-done, r.block.Frames()-r.at)
		for c := range dst {
			copy(dst[c][done:done+n], r.block[c][r.at:r.at+n])
		}
		done += n
		r.at += n
	}
	return done
}

// ReadUntil is the Read of a [Source] that makes its frames by more: it is [Rest.Read],
// and once there are no frames left it returns *end, which more has set by then.
func (r *Rest) ReadUntil(dst Block, more func() Block, end *error) (int, error) {
	n := r.Read(dst, more)
	if n == 0 && dst.Frames() > 0 {
		return 0, *end
	}
	return n, nil
}
