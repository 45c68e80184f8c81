package card

import (
	"fmt"
	"math/rand/v2"
	"testing"
)

// sections returns credits of some sections with so many players.
func sections(sizes ...int) (list []Credit) {
	for i, n := range sizes {
		for k := range n {
			list = append(list, Credit{fmt.Sprint("Section ", i+1), fmt.Sprint("Part ", k+1),
				fmt.Sprint("Player ", i+1, ".",
					k+1)})
		}
	}
	return list
}

// TestNoCreditStandsAlone cuts rosters of many kinds into columns of every depth: a credit
// of a section with others is never alone in a column, neither its first nor its last, unless
// the column has no room for two.
func TestNoCreditStandsAlone(t *testing.T) {
	s := newSetter(nil)
	random := rand.New(rand.NewPCG(18, 8))
	cuts, headings := 0, 0
	for range 60 {
		sizes := make([]int, 1+random.IntN(6))
		for i := range sizes {
			sizes[i] = 1 + random.IntN(9)
		}
		rows := s.rows(sections(sizes...), 24, 200, 300)
		for depth := 5; depth < 24; depth++ {
			r := roster{perPage: 2}
			columns := r.deal(rows, depth, keepTogether*float64(random.IntN(2)))
			var joined []row
			heading := ""
			for i, column := range columns {
				if len(column) > depth {
					t.Fatalf("%v: a column of %d rows in %d", sizes, len(column), depth)
				}
				goesOn := i > 0 && len(column[0].heading.runs) == 0
				if i > 0 && i%r.perPage == 0 && goesOn {
					t.Fatalf("%v in columns of %d: page %d goes on without a heading", sizes, depth, i/r.perPage+1)
				}
				if again := i > 0 && column[0].heading.text == heading; again {
					if i%r.perPage != 0 {
						t.Fatalf("%v in columns of %d: a heading again in the middle of a page", sizes, depth)
					}
					headings++
					if first, _ := run(column[1:]); first == 1 {
						t.Errorf("%v in columns of %d: one credit below its heading again", sizes, depth)
					}
					column = column[1:]
				}
				if goesOn {
					cuts++
					first, _ := run(column)
					before := columns[i-1]
					if _, above := run(before); first == 1 || above == 1 {
						t.Errorf("%v in columns of %d: a section is cut to %d and %d, %d rows before", sizes, depth,
							above,
							first, len(before))
					}
				}
				for _, k := range column {
					if !k.blank() {
						joined = append(joined, k)
					}
					if len(k.heading.runs) > 0 {
						heading = k.heading.text
					}
				}
			}
			k := 0
			for _, row := range rows {
				if row.blank() {
					continue
				}
				if k >= len(joined) || joined[k].name.text != row.name.text ||
					joined[k].heading.text != row.heading.text {
					t.Fatalf("%v in columns of %d: row %d is lost", sizes, depth, k)
				}
				k++
			}
		}
	}
	if cuts < 200 || headings < 100 {
		t.Errorf("only %d sections are cut, %d over a page: does this prove anything?", cuts, headings)
	}
}

// run returns how many credits stand together at the head of a column, and at its foot.
func run(column []row) (first, last int) {
	credit := func(k row) bool { return !k.blank() && len(k.heading.runs) == 0 }
	for first < len(column) && credit(column[first]) {
		first++
	}
	for last < len(column) && credit(column[len(column)-1-last]) {
		last++
	}
	return first, last
}
