package interchange

import (
	"bytes"
	"encoding/csv"
	"strings"
)

// CSV returns a table as comma-separated values (RFC 4180, UTF-8, lines end in CRLF).
// The first row is the head. texts tells which columns hold text: a cell there that a
// spreadsheet would take for a formula gets an apostrophe before it, as OWASP's page on
// CSV injection advises. Numbers stay numbers, those below zero too. It fails for no
// table.
func CSV(rows [][]string, texts func(column int) bool) ([]byte, error) {
	var out bytes.Buffer
	w := csv.NewWriter(&out)
	w.UseCRLF = true
	for _, row := range rows {
		safe := make([]string, len(row))
		for i, cell := range row {
			if safe[i] = cell; texts(i) && strings.IndexAny(cell, "=+-@\t\r\n＝＋－＠") == 0 {
				safe[i] = "'" + cell
			}
		}
		if err := w.Write(safe); err != nil {
			return nil, err
		}
	}
	w.Flush()
	return out.Bytes(), w.Error()
}
