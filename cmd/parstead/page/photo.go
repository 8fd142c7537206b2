package page

import (
	"context"
	"errors"
	"io"
	"mime/multipart"
	"net/http"
	"strings"
	"time"
)

// Photos keeps pictures of plants.
type Photos interface {
	// Keep files a photo as a phone sent it. An error that has a method Refused is
	// to be mended by who sent it.
	Keep(ctx context.Context, who, plant string, file []byte) error
	// Read gives a photo by its name; nil where there is none.
	Read(name string) ([]byte, error)
}

const (
	largestPhoto = 17 << 20 // bytes of a request with a photo
	photoPart    = "photo"
	plantPart    = "plant"

	// The pace of photos, whoever sends them: as many at once, then one each.
	photosAtOnce = 40
	photosEach   = 5 * time.Second

	photoPatience = time.Minute // for a photo to come over a weak signal
)

// takePhoto takes a photo of a plant out of a form.
func (s *Server) takePhoto(w http.ResponseWriter, r *http.Request) {
	who, status, says := s.who(r)
	switch {
	case says == noCode:
		s.answerScreen(w, r, status, &screen{Name: "off", Says: noCode, Wrong: true})
		return
	case status != 0:
		s.answerScreen(w, r, status, &screen{Name: "code", Says: "Not stored. " + says, Wrong: true, Then: "/enter"})
		return
	}
	if wait := s.entering.slowPhoto(s.config.Now()); wait > 0 {
		say(w, http.StatusTooManyRequests, "Not stored. "+tooFast(w, wait))
		return
	}
	// The server's own limits of time are for requests of some kilobytes.
	answer, now := http.NewResponseController(w), time.Now()
	if err := errors.Join(answer.SetReadDeadline(now.Add(photoPatience)), answer.SetWriteDeadline(now.Add(2*photoPatience))); err != nil && !errors.Is(err, http.ErrNotSupported) {
		s.config.Log.Warn("a photo has less time to come", "error", err)
	}
	r.Body = http.MaxBytesReader(w, r.Body, largestPhoto)
	s.entering.camera <- struct{}{} // one at a time: each takes much memory
	defer func() { <-s.entering.camera }()
	plant, file, err := readPhoto(r)
	if _, large := errors.AsType[*http.MaxBytesError](err); large {
		say(w, http.StatusRequestEntityTooLarge, "Not stored: the photo is too large. Take it with fewer pixels.")
		return
	}
	if err != nil || plant == "" || len(file) == 0 {
		say(w, http.StatusBadRequest, "Not stored: the photo did not come through. Go back and send it again.")
		return
	}
	err = s.config.Photos.Keep(r.Context(), who, plant, file)
	if refused, ok := errors.AsType[interface {
		error
		Refused()
	}](err); ok {
		say(w, http.StatusUnprocessableEntity, "Not stored: "+refused.Error()+".")
		return
	}
	if err != nil {
		s.config.Log.Error("photo not kept", "error", err)
		say(w, http.StatusServiceUnavailable, "Not stored: "+err.Error()+".")
		return
	}
	http.Redirect(w, r, plantPath(plant)+"#photos", http.StatusSeeOther)
}

// slowPhoto is how long a phone has to wait before it may send a photo.
func (e *entering) slowPhoto(now time.Time) time.Duration {
	e.mu.Lock()
	defer e.mu.Unlock()
	return e.seen.take(1, photosAtOnce, photosEach, now)
}

// readPhoto reads the two parts of the form, whatever else stands in it. Nothing of
// it reaches the disk.
func readPhoto(r *http.Request) (plant string, file []byte, err error) {
	parts, err := r.MultipartReader()
	if err != nil {
		return "", nil, err
	}
	for {
		var part *multipart.Part
		if part, err = parts.NextPart(); errors.Is(err, io.EOF) {
			return plant, file, nil
		}
		if err != nil {
			return "", nil, err
		}
		switch part.FormName() {
		case plantPart:
			var text []byte
			text, err = io.ReadAll(io.LimitReader(part, longestPart))
			plant = strings.TrimSpace(string(text))
		case photoPart:
			file, err = io.ReadAll(part)
		}
		if err != nil {
			return "", nil, err
		}
	}
}

// givePhoto answers with a photo. Anything but a picture it can't be.
func (s *Server) givePhoto(w http.ResponseWriter, r *http.Request) {
	file, err := s.config.Photos.Read(r.PathValue("name"))
	if err != nil {
		s.config.Log.Error("photo not shown", "error", err)
		say(w, http.StatusInternalServerError, "The photo can't be shown now; the daemon's log says why.")
		return
	}
	if file == nil {
		say(w, http.StatusNotFound, "There is no such photo.")
		return
	}
	w.Header().Set("Content-Type", "image/jpeg")
	w.Header().Set("Cache-Control", "private, max-age=86400")
	_, _ = w.Write(file) // the reader has gone: nobody to tell
}
