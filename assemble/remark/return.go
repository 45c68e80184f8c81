package remark

import (
	"fmt"
	"slices"
	"strings"

	"ripieno/assemble/fault"
	"ripieno/mix/tempo"
)

// Bounds of a file that a conductor sends back.
const (
	MostReturned    = 500
	MostReturnBytes = 1 << 20
)

// Return is what a conductor has saved in the page for review.
type Return struct {
	Format   int        `json:"ripieno_remarks"` // 1
	Title    string     `json:"title"`           // of the piece, for people
	Film     string     `json:"film"`            // its name
	Hash     string     `json:"sha256"`          // of the film that the page was made of
	By       string     `json:"by"`
	Approved bool       `json:"approved,omitempty"`
	Remarks  []Returned `json:"remarks"`
}

// Returned is one remark of a [Return].
type Returned struct {
	At   float64 `json:"at"` // guide time in seconds
	For  string  `json:"for,omitempty"`
	Text string  `json:"text"`
}

// ParseReturn reads such a file; path is for faults. Whatever does not look like one
// is refused whole.
func ParseReturn(path string, data []byte) (*Return, error) {
	refuse := func(what string) (*Return, error) {
		return nil, fault.New(fault.Manifest, path, what,
			"take the file that the page of ripieno report --review has saved")
	}
	if len(data) > MostReturnBytes {
		return refuse(fmt.Sprintf("it has more than %d bytes, and a file of remarks is small", MostReturnBytes))
	}
	var r Return
	if err := decode(data, &r); err != nil {
		return refuse("it is no file of remarks: " + Clean(err.Error(), 200))
	}
	switch {
	case r.Format != 1:
		return refuse("it is of another version, or no file of remarks")
	case len(r.Remarks) > MostReturned:
		return refuse(fmt.Sprintf("it has %d remarks, at most %d", len(r.Remarks), MostReturned))
	case !hashForm.MatchString(r.Hash) || !nameForm().MatchString(r.Film):
		return refuse("it does not say which film it is about")
	case r.Approved && Clean(r.By, MostName) == "":
		return refuse("it approves the film without a name")
	}
	for i, one := range r.Remarks {
		if err := checkMoment(one.At); err != nil {
			return refuse(fmt.Sprintf("remark %d: %v", i+1, err))
		}
	}
	return &r, nil
}

// Taken is what became of a [Return].
type Taken struct {
	Added    int      `json:"added"`
	Known    int      `json:"known"` // remarks that were there already
	By       string   `json:"by"`
	Approved bool     `json:"approved"`
	Notes    []string `json:"notes,omitempty"` // on what was not kept as it came
}

// Take adds what a conductor says to the book. takes are the names of those that the
// production has; m is its music.
func (b *Book) Take(r *Return, m *tempo.Map, title string, takes []string) (Taken, error) {
	out := Taken{By: Clean(r.By, MostName), Approved: r.Approved}
	if other := Clean(r.Title, MostText); title != "" && other != "" && other != Clean(title, MostText) {
		return out, fault.New(fault.Manifest, "", fmt.Sprintf("these remarks are about %q, and this is %q", other,
			Clean(title, MostText)), "take them where they belong, with --dir")
	}
	var list []Remark
	for i, one := range r.Remarks {
		at := min(max(one.At, 0), m.End()+mostAfter)
		text, who := one.Text, one.For
		if who != "" && !slices.Contains(takes, who) {
			out.Notes = append(out.Notes, fmt.Sprintf("remark %d is for %q, which is no take here; it stands for all",
				i+1, Clean(who, MostName)))
			who = ""
		}
		if strings.TrimSpace(text) == "" {
			continue
		}
		made := Remark{At: at, Place: PlaceAt(m, at), For: who, By: r.By, Text: text, Of: r.Hash[:ShortHash]}.Named()
		list = append(list, made)
	}
	out.Added = b.Add(list...)
	out.Known = len(list) - out.Added
	if len(b.Remarks) > MostRemarks {
		return out, TooMany()
	}
	if r.Approved {
		b.Approve(Approval{By: r.By, Film: r.Film, Hash: r.Hash})
	}
	if len(b.Approvals) > MostApprovals {
		return out, TooMany()
	}
	return out, nil
}

// mostAfter is how long after the last measure a film may go on, in seconds: a remark
// beyond it is about its end.
const mostAfter = 600

// TooMany returns the fault of a book that is full.
func TooMany() error {
	return fault.New(fault.Manifest, FileName, fmt.Sprintf("there are more than %d remarks or %d approvals",
		MostRemarks, MostApprovals), "take settled ones out of "+FileName)
}
