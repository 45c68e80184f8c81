package desk

import (
	"context"
	"errors"
	"fmt"
	"math"
	"net/http"
	"strconv"

	"ripieno/assemble/desk/audition"
)

// getPlace answers with where all takes lie.
func (d *desk) getPlace(w http.ResponseWriter, _ *http.Request) {
	if p, _ := d.material(); p != nil {
		answer(w, p)
		return
	}
	http.Error(w, "the takes are not placed yet", http.StatusNotFound)
}

// getMix answers with what the mix is added up from.
func (d *desk) getMix(w http.ResponseWriter, _ *http.Request) {
	_, m := d.material()
	man, err := d.manifest()
	switch {
	case m == nil:
	case err != nil:
		fail(w, err)
		return
	default:
		answer(w, m.As(man))
		return
	}
	http.Error(w, "the mix is not prepared yet", http.StatusNotFound)
}

// getLook answers with the picture as it is planned.
func (d *desk) getLook(w http.ResponseWriter, _ *http.Request) {
	if l := d.picture(); l != nil {
		answer(w, l)
		return
	}
	http.Error(w, "the picture is not planned yet", http.StatusNotFound)
}

// getJudge answers with what was found of all takes.
func (d *desk) getJudge(w http.ResponseWriter, _ *http.Request) {
	if j := d.judgement(); j != nil {
		answer(w, j)
		return
	}
	http.Error(w, "the takes are not checked yet", http.StatusNotFound)
}

// judgement returns what was found last.
func (d *desk) judgement() *audition.Judging {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.judging
}

// getStill answers with the still of a take.
func (d *desk) getStill(w http.ResponseWriter, r *http.Request) {
	data, ok := d.picture().Still(r.PathValue("take"))
	if !ok {
		http.Error(w, "there is no picture of it", http.StatusNotFound)
		return
	}
	w.Header().Set("Content-Type", "image/jpeg")
	_, _ = w.Write(data)
}

// picture returns what was planned last.
func (d *desk) picture() *audition.Looking {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.looking
}

// getVoices answers with a piece of all voices of the mix; see [audition.Mixing.Piece]. A
// mix that is another one by now answers with 410.
func (d *desk) getVoices(w http.ResponseWriter, r *http.Request) {
	from, frames, ok := askedPiece(w, r)
	if !ok {
		return
	}
	_, m := d.material()
	if m == nil || m.ID != r.PathValue("id") {
		http.Error(w, "the mix is another one by now", http.StatusGone)
		return
	}
	data, err := m.Piece(from, frames)
	sendPiece(w, data, err)
}

// getSound answers with a piece of a sound; see [audition.Sound.Read].
func (d *desk) getSound(w http.ResponseWriter, r *http.Request) {
	from, frames, ok := askedPiece(w, r)
	if !ok {
		return
	}
	s, ok := d.sound(r.PathValue("id"))
	if !ok {
		http.Error(w, "there is no such sound", http.StatusNotFound)
		return
	}
	data, err := s.Read(from, frames)
	sendPiece(w, data, err)
}

// askedPiece returns which frames of a sound a request asks for; where it does not say, it
// answers and reports false.
func askedPiece(w http.ResponseWriter, r *http.Request) (from, frames int64, ok bool) {
	from, err1 := strconv.ParseInt(r.URL.Query().Get("from"), 10, 64)
	frames, err2 := strconv.ParseInt(r.URL.Query().Get("frames"), 10, 64)
	if err := errors.Join(err1, err2); err != nil {
		http.Error(w, "from and frames are whole numbers", http.StatusBadRequest)
		return 0, 0, false
	}
	return from, frames, true
}

// sendPiece answers with the bytes of a piece of sound, or says that it is gone.
func sendPiece(w http.ResponseWriter, data []byte, err error) {
	if err != nil { // the store was cleaned
		http.Error(w, "the sound is not there any more; prepare it again", http.StatusGone)
		return
	}
	w.Header().Set("Content-Type", "application/octet-stream")
	_, _ = w.Write(data)
}

// sound returns a sound of what was made last, by its ID.
func (d *desk) sound(id string) (s audition.Sound, ok bool) {
	p, m := d.material()
	if p != nil {
		s, ok = p.Sound(id)
	}
	if !ok && m != nil {
		s, ok = m.Sound(id)
	}
	if j := d.judgement(); !ok && j != nil {
		s, ok = j.Sound(id)
	}
	return s, ok
}

// mostStrips is how many rows of stills are kept in memory: some megabytes.
const mostStrips = 300

// getStrip answers with stills of a take round a time of its picture's file.
func (d *desk) getStrip(w http.ResponseWriter, r *http.Request) {
	take := r.PathValue("take")
	at, err := strconv.ParseFloat(r.URL.Query().Get("at"), 64)
	if err != nil || math.IsNaN(at) || math.IsInf(at, 0) {
		http.Error(w, "at is a number of seconds", http.StatusBadRequest)
		return
	}
	p, _ := d.material()
	if p == nil {
		p = d.judgement().Placing()
	}
	if p == nil {
		http.Error(w, "the takes are not placed yet", http.StatusNotFound)
		return
	}
	data, err := d.strip(r.Context(), p, take, at)
	if err != nil {
		http.Error(w, "there is no picture of it: "+err.Error(), http.StatusNotFound)
		return
	}
	w.Header().Set("Content-Type", "image/jpeg")
	_, _ = w.Write(data)
}

// strip returns a row of stills: out of memory, or taken when it is its turn. It fails when
// there is no picture, or when ctx ends before.
func (d *desk) strip(ctx context.Context, p *audition.Placing, take string, at float64) ([]byte, error) {
	key := fmt.Sprintf("%s@%.3f", take, at)
	known := func() []byte {
		d.mu.Lock()
		defer d.mu.Unlock()
		return d.strips[key]
	}
	if data := known(); data != nil {
		return data, nil
	}
	release, err := d.take(ctx)
	if err != nil {
		return nil, err
	}
	defer release()
	if data := known(); data != nil { // somebody has asked for it as well
		return data, nil
	}
	data, err := d.work.Strip(ctx, p, take, at)
	if err != nil {
		return nil, err
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	if len(d.strips) >= mostStrips {
		clear(d.strips)
	}
	d.strips[key] = data
	return data, nil
}
