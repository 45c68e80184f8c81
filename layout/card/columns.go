package card

// cut deals rows into columns: as few as hold them on one page, or all of the
// fewest pages, and then about equally long. A heading is not left alone at
// the foot of a column and a blank row never stands at its top.
func (r *roster) cut(rows []row) {
	r.rows = rows
	if r.columns = r.deal(rows, r.depth, keepTogether); len(r.columns) > len(r.deal(rows, r.depth, 0)) {
		r.columns = r.deal(rows, r.depth, 0)
	}
	n := len(r.columns)
	if n > r.perPage {
		n = r.pages() * r.perPage
	}
	if n < 2 {
		return
	}
	for _, empty := range []float64{keepTogether, 0} {
		for depth := (len(rows) + n - 1) / n; depth < r.depth; depth++ {
			if even := r.deal(rows, depth, empty); len(even) <= n {
				r.columns = even
				return
			}
		}
	}
}

// keepTogether is how much of a column may stay empty so that the next begins with
// a section.
const keepTogether = 0.45

// deal cuts rows into columns of at most depth rows. A column does not begin with
// an empty row, and a heading stays with its first two credits. So much of a column may
// stay empty, at its end, as keeps a section in one piece; and where one is cut, no credit
// stands alone, and a new page has its heading again.
func (r *roster) deal(rows []row, depth int, empty float64) (columns [][]row) {
	depth = max(depth, 2) // a heading and a credit
	var section row
	for len(rows) > 0 {
		for len(rows) > 0 && rows[0].blank() {
			rows = rows[1:]
		}
		n := min(depth, len(rows))
		for n > 1 && n < len(rows) && (len(rows[n-1].heading.runs) > 0 || rows[n-1].blank()) {
			n--
		}
		if n < len(rows) && !rows[n].blank() {
			for k := n - 1; k > 0 && float64(n-k) <= empty*float64(depth); k-- {
				if rows[k].blank() {
					n = k
					break
				}
			}
		}
		n = withoutOrphan(rows, n)
		columns = append(columns, rows[:n])
		for _, k := range rows[:n] {
			if k.blank() || len(k.heading.runs) > 0 {
				section = k // none behind a blank row
			}
		}
		rows = rows[n:]
		newPage := r.perPage > 0 && len(columns)%r.perPage == 0
		if newPage && len(rows) > 0 && !rows[0].blank() && len(rows[0].heading.runs) == 0 && !section.blank() {
			rows = append([]row{section}, rows...)
		}
	}
	return columns
}

// withoutOrphan returns where to cut rows so that neither the first nor the last credit of a
// section stands in a column without another of it: n, or a little before. A section of
// two or three goes as a whole where something is before it.
func withoutOrphan(rows []row, n int) int {
	if n >= len(rows) || rows[n].blank() {
		return n
	}
	begin := n // of the section's credits
	for begin > 0 && !rows[begin-1].blank() && len(rows[begin-1].heading.runs) == 0 {
		begin--
	}
	end := n
	for end < len(rows) && !rows[end].blank() {
		end++
	}
	if end-n == 1 && n-begin > 1 {
		n--
	}
	if n-begin != 1 {
		return n
	}
	head := begin
	if head > 0 && len(rows[head-1].heading.runs) > 0 {
		head--
	}
	if head < 2 { // nothing is before it but what is blank
		return n
	}
	return head - 1 // at the blank row, which is dropped
}
