package daemon

import (
	"bytes"
	"image"
	"image/color"
	"image/jpeg"
	"io"
	"mime/multipart"
	"net/http"
	"net/textproto"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"parstead/cmd/parstead/racktest"
)

// plantPhoto is a small picture, with words behind its end as a file may have them.
func plantPhoto(tb testing.TB, green uint8) []byte {
	tb.Helper()
	m := image.NewRGBA(image.Rect(0, 0, 40, 30))
	for i := range 40 * 30 {
		m.Set(i%40, i/40, color.RGBA{30, green, 40, 255})
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, m, nil); err != nil {
		tb.Fatal(err)
	}
	return append(b.Bytes(), "GPS 38.7 N 9.1 W"...)
}

// send sends a photo as the form does.
func sendPhoto(tb testing.TB, client *http.Client, base, plant string, file []byte) (status int, says string) {
	tb.Helper()
	var body bytes.Buffer
	form := multipart.NewWriter(&body)
	part, err := form.CreatePart(textproto.MIMEHeader{"Content-Disposition": {`form-data; name="photo"; filename="../../x.jpg"`}, "Content-Type": {"image/jpeg"}})
	if err == nil {
		_, err = part.Write(file)
	}
	if err == nil {
		err = form.WriteField("plant", plant)
	}
	if err == nil {
		err = form.Close()
	}
	if err != nil {
		tb.Fatal(err)
	}
	answer, err := client.Post(base+"enter/photo", form.FormDataContentType(), &body)
	if err != nil {
		tb.Fatal(err)
	}
	defer func() { _ = answer.Body.Close() }()
	text, err := io.ReadAll(answer.Body)
	if err != nil {
		tb.Fatal(err)
	}
	return answer.StatusCode, string(text)
}

// A photo of a plant is filed by plant and day, without what else the file held,
// has its place in the log, and is shown on the plant's page. The same one sent
// twice is kept once.
func TestPhotosOfPlants(t *testing.T) {
	t.Parallel()
	dir := racktest.EntryTrial(t, "")
	layout := racktest.Text(t, dir, "layout.csv")
	racktest.WriteFiles(t, dir, map[string]string{"layout.csv": strings.Replace(layout, "P2;", "P/2;", 1)})
	clock := racktest.NewClock(racktest.Midday)
	w := watchFolder(t, dir, Options{Clock: clock.Ingest()})
	if status, _ := sendPhoto(t, http.DefaultClient, w.PageURL(), "P1", plantPhoto(t, 90)); status != http.StatusForbidden {
		t.Errorf("without the code: %d", status)
	}
	phone := racktest.NewPhone(t, w.PageURL(), "Ana")
	for _, c := range []struct {
		plant  string
		file   []byte
		status int
		says   string
	}{
		{"P1", plantPhoto(t, 90), http.StatusOK, "<h1>P1</h1>"},
		{"P1", plantPhoto(t, 90), http.StatusOK, "<h1>P1</h1>"},
		{"P1", plantPhoto(t, 200), http.StatusOK, "<h1>P1</h1>"},
		{"P/2", plantPhoto(t, 90), http.StatusOK, "<h1>P/2</h1>"},
		{"P9", plantPhoto(t, 90), http.StatusUnprocessableEntity, `Not stored: the trial has no plant "P9".`},
		{"P1", []byte("<script>"), http.StatusUnprocessableEntity, "Not stored: the file is no JPEG photo: set the camera to JPEG."},
		{"P1", nil, http.StatusBadRequest, "did not come through"},
		{"P1", make([]byte, 18<<20), http.StatusRequestEntityTooLarge, "too large"},
	} {
		if status, says := sendPhoto(t, &phone.Client, w.PageURL(), c.plant, c.file); status != c.status || !strings.Contains(says, c.says) {
			t.Errorf("a photo of %s with %d bytes: %d %s, want %d %s", c.plant, len(c.file), status, says, c.status, c.says)
		}
	}
	files, err := filepath.Glob(filepath.Join(dir, "photos", "*"))
	if err != nil {
		t.Fatal(err)
	}
	for i := range files {
		files[i] = filepath.Base(files[i])
	}
	if got, want := strings.Join(files, " "), "P-2-2026-08-05-1.jpg P1-2026-08-05-1.jpg P1-2026-08-05-2.jpg"; got != want {
		t.Errorf("files %s, want %s", got, want)
	}
	if text := racktest.Text(t, dir, "photos/P1-2026-08-05-1.jpg"); strings.Contains(text, "GPS") || !strings.HasPrefix(text, "\xff\xd8") {
		t.Error("what stood behind the picture is kept, or it is no picture")
	}
	clock.Move(5 * time.Second) // no state serves twice
	page := w.get("/plant/P1")
	for _, want := range []string{`<img src="/photo/P1-2026-08-05-1.jpg" alt="P1 on 5 Aug 12:00"`, `src="/photo/P1-2026-08-05-2.jpg"`, "photographed P1: photos/P1-2026-08-05-1.jpg (Ana)"} {
		if strings.Count(page, want) != 1 {
			t.Errorf("the plant's page does not say %s:\n%s", want, page)
		}
	}
	if text := w.get("/photo/P1-2026-08-05-1.jpg"); text != racktest.Text(t, dir, "photos/P1-2026-08-05-1.jpg") {
		t.Error("the photo is not given as it is kept")
	}
	// Nothing but photos, and nothing out of their folder.
	racktest.WriteFiles(t, dir, map[string]string{"photos/notes.txt": "a secret"})
	if err := os.Symlink(filepath.Join(dir, "entry-code"), filepath.Join(dir, "photos", "P3-2026-08-05-1.jpg")); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"notes.txt", "..%2fentry-code", "..%2Fphotos%2FP1-2026-08-05-1.jpg", "P1-2026-08-05-9.jpg", "P3-2026-08-05-1.jpg", ""} {
		answer, err := http.Get(w.PageURL() + "photo/" + name)
		if err != nil {
			t.Fatal(err)
		}
		_ = answer.Body.Close()
		if answer.StatusCode != http.StatusNotFound && answer.StatusCode != http.StatusInternalServerError {
			t.Errorf("photo %q: %d", name, answer.StatusCode)
		}
	}
	w.stop()
}
