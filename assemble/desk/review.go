package desk

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"net/http"
	"os"
	"slices"
	"strings"
	"time"

	"ripieno/assemble/desk/audition"
	"ripieno/assemble/production"
	"ripieno/assemble/remark"
	"ripieno/assemble/remark/kept"
)

// film is a film among the outputs as the page knows it.
type film struct {
	Name  string `json:"name"`
	Hash  string `json:"hash"`
	Bytes int64  `json:"bytes"`

	made time.Time
}

// filmNames returns the names of the films that may be looked at: the rough cut, and what is
// delivered.
func filmNames(man *production.Production) []string {
	names := []string{"rough"}
	for _, d := range man.Deliver {
		names = append(names, d.Name)
	}
	return names
}

// films returns the films that are there. One is read whole when it has changed.
func (d *desk) films(man *production.Production) ([]film, error) {
	d.reading.Lock()
	defer d.reading.Unlock()
	list := []film{}
	for _, name := range filmNames(man) {
		f, st, err := kept.OpenFilm(d.out, name)
		if err != nil {
			return nil, err
		}
		if f == nil {
			continue
		}
		one, err := d.film(name, f, st)
		f.Close()
		if err != nil {
			return nil, err
		}
		list = append(list, one)
	}
	return list, nil
}

// film returns a film with its hash, which is known when it has not been changed.
func (d *desk) film(name string, f *os.File, st os.FileInfo) (film, error) {
	one := film{Name: name, Bytes: st.Size(), made: st.ModTime()}
	if i := slices.IndexFunc(d.known, func(k film) bool {
		return k.Name == name && k.Bytes == one.Bytes && k.made.Equal(one.made)
	}); i >= 0 {
		return d.known[i], nil
	}
	sum := sha256.New()
	if _, err := io.Copy(sum, f); err != nil {
		return one, err
	}
	one.Hash = hex.EncodeToString(sum.Sum(nil))
	d.known = append(slices.DeleteFunc(d.known, func(k film) bool { return k.Name == name }), one)
	return one, nil
}

// hashOf returns the hash of an open film; "" when it cannot be read.
func (d *desk) hashOf(name string, f *os.File, st os.FileInfo) string {
	d.reading.Lock()
	defer d.reading.Unlock()
	one, err := d.film(name, f, st)
	if err != nil {
		return ""
	}
	return one.Hash
}

// filmStand names the films in a folder as they are, so that a page sees that one has
// changed.
func filmStand(out string) string {
	list, _ := os.ReadDir(out) // where there is no folder there are no films
	sum := sha256.New()
	for _, e := range list {
		if st, err := e.Info(); err == nil && strings.HasSuffix(e.Name(), ".mp4") {
			fmt.Fprintf(sum, "%s %d %d\n", e.Name(), st.Size(), st.ModTime().UnixNano())
		}
	}
	return hex.EncodeToString(sum.Sum(nil)[:8])
}

// getFilm plays a film, any part of it. Its address has no path: a name out of a short
// list, and the hash it had when the page was told of it.
func (d *desk) getFilm(w http.ResponseWriter, r *http.Request) {
	man, err := d.manifest()
	if err != nil {
		fail(w, err)
		return
	}
	name := r.PathValue("name")
	if !slices.Contains(filmNames(man), name) {
		http.Error(w, "there is no such film", http.StatusNotFound)
		return
	}
	f, st, err := kept.OpenFilm(d.out, name)
	if err != nil || f == nil {
		http.Error(w, "there is no such film", http.StatusNotFound)
		return
	}
	defer f.Close()
	if of := r.URL.Query().Get("v"); of != "" && of != d.hashOf(name, f, st) {
		http.Error(w, "the film is another one by now", http.StatusGone) // parts of two films are none
		return
	}
	w.Header().Set("Content-Type", "video/mp4")
	http.ServeContent(w, r, "", st.ModTime(), f)
}

// reviewed is what the room of the review shows.
type reviewed struct {
	audition.Music
	Films     []film         `json:"films"`
	Remarks   []heard        `json:"remarks"`
	Approvals []remark.Stand `json:"approvals"`
}

// heard is a remark as the page shows it.
type heard struct {
	remark.At
	Older bool `json:"older,omitempty"` // said of an earlier cut
}

// getReview answers with the films, and what was said of them.
func (d *desk) getReview(w http.ResponseWriter, _ *http.Request) {
	man, err := d.manifest()
	if err != nil {
		fail(w, err)
		return
	}
	out, err := d.review(man)
	if err != nil {
		fail(w, err)
		return
	}
	answer(w, out)
}

// review gathers for the page what was said of the films: remarks with the places they are
// about, approvals, and which of both were said of an earlier version.
func (d *desk) review(man *production.Production) (out reviewed, err error) {
	if out.Music, err = audition.MusicOf(man); err != nil {
		return out, err
	}
	if out.Films, err = d.films(man); err != nil {
		return out, err
	}
	book, err := kept.Load(man.Dir)
	if err != nil {
		return out, err
	}
	hashes := map[string]string{}
	for _, f := range out.Films {
		hashes[f.Name] = f.Hash
	}
	out.Approvals, out.Remarks = book.Stands(hashes), []heard{}
	for _, r := range book.Beside(man.Tempo, remark.All) {
		isOf := func(f film) bool { return strings.HasPrefix(f.Hash, r.Of) }
		older := r.Of != "" && !slices.ContainsFunc(out.Films, isOf)
		out.Remarks = append(out.Remarks, heard{r, older})
	}
	return out, nil
}

// said is what the page asks to have done with the remarks: exactly one of its fields is set.
type said struct {
	Add *struct {
		At   float64 `json:"at"`
		For  string  `json:"for"`
		By   string  `json:"by"`
		Text string  `json:"text"`
		Of   string  `json:"of"` // the hash of the film
	} `json:"add"`
	Settle   string           `json:"settle"` // IDs
	Reopen   string           `json:"reopen"`
	Remove   string           `json:"remove"`
	Approve  *remark.Approval `json:"approve"`
	Withdraw *remark.Approval `json:"withdraw"`
	Take     string           `json:"take"` // the text of a file that a conductor has sent
}

// postSaid keeps what somebody says.
func (d *desk) postSaid(w http.ResponseWriter, r *http.Request) {
	var in said
	err := read(r, &in)
	var man *production.Production
	if err == nil {
		man, err = d.manifest()
	}
	var notes []string
	if err == nil {
		err = kept.Change(r.Context(), man.Dir, func(b *remark.Book) (err error) {
			notes, err = in.apply(b, man)
			return err
		})
	}
	if err != nil {
		fail(w, err)
		return
	}
	d.news.tell()
	answer(w, map[string]any{"notes": notes, "state": d.state()})
}

// apply carries out what the page asks and returns notes for the person. It refuses what the
// page cannot mean, such as a remark at no moment of the film.
func (s said) apply(b *remark.Book, man *production.Production) (notes []string, err error) {
	found := true
	switch {
	case s.Add != nil:
		return nil, s.add(b, man)
	case s.Settle != "":
		found = b.Settle(s.Settle, true)
	case s.Reopen != "":
		found = b.Settle(s.Reopen, false)
	case s.Remove != "":
		found = b.Remove(s.Remove)
	case s.Approve != nil:
		if err := s.Approve.Check(); err != nil {
			return nil, refused(err.Error())
		}
		b.Approve(*s.Approve)
	case s.Withdraw != nil:
		found = b.Withdraw(s.Withdraw.By, s.Withdraw.Film)
	case s.Take != "":
		return s.take(b, man)
	default:
		return nil, refused("nothing is said")
	}
	if !found {
		return nil, errStale
	}
	return nil, nil
}

// take adds what a conductor has sent.
func (s said) take(b *remark.Book, man *production.Production) ([]string, error) {
	back, err := remark.ParseReturn("the file", []byte(s.Take))
	if err != nil {
		return nil, err
	}
	taken, err := b.Take(back, man.Tempo, man.Title, takeNames(man))
	notes := []string{fmt.Sprintf("%d remarks added, %d known already", taken.Added, taken.Known)}
	return append(notes, taken.Notes...), err
}

// takeNames returns the names of all takes.
func takeNames(man *production.Production) []string {
	var names []string
	for _, t := range man.Takes {
		names = append(names, t.Name)
	}
	return names
}

// add adds a remark to the book. Its place in the score is worked out here, from the time that
// the page gives; text, names and times from a page are checked as those from strangers.
func (s said) add(b *remark.Book, man *production.Production) error {
	a := s.Add
	r := remark.Remark{At: a.At, Place: remark.PlaceAt(man.Tempo, a.At), For: a.For, By: a.By, Text: a.Text}.Named()
	if len(a.Of) >= remark.ShortHash {
		r.Of = remark.Clean(a.Of[:remark.ShortHash], remark.ShortHash)
	}
	switch {
	case r.Text == "":
		return refused("a remark says nothing")
	case !(a.At >= -1 && a.At <= man.Tempo.End()+600):
		return refused("a remark is at no moment of the film")
	case a.For != "" && !slices.Contains(takeNames(man), a.For):
		return refused(fmt.Sprintf("there is no take %q", remark.Clean(a.For, remark.MostName)))
	}
	b.Add(r)
	return nil
}
