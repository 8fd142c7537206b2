package photo

import (
	"bytes"
	"encoding/binary"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"math/rand/v2"
	"strings"
	"testing"
)

// four is a picture of four quarters: red and green above, blue and white below.
func four(tb testing.TB, w, h int) []byte {
	tb.Helper()
	m := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			m.Set(x, y, []color.RGBA{{255, 0, 0, 255}, {0, 255, 0, 255}, {0, 0, 255, 255}, {255, 255, 255, 255}}[2*(2*y/h)+2*x/w])
		}
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, m, &jpeg.Options{Quality: 95}); err != nil {
		tb.Fatal(err)
	}
	return b.Bytes()
}

// withExif puts an Exif block behind the file's first marker: the orientation and,
// as a camera's would, where the picture was taken.
func withExif(file []byte, order binary.AppendByteOrder, orientation uint16) []byte {
	tiff := []byte("II*\x00")
	if order.String() == "BigEndian" {
		tiff = []byte("MM\x00*")
	}
	tiff = order.AppendUint32(tiff, 8)
	tiff = order.AppendUint16(tiff, 2)
	entry := func(tag, kind uint16, n uint32, value []byte) {
		tiff = order.AppendUint16(tiff, tag)
		tiff = order.AppendUint16(tiff, kind)
		tiff = append(order.AppendUint32(tiff, n), value...)
	}
	entry(0x010e, 2, 3, []byte("x\x00\x00\x00")) // a description
	entry(0x0112, 3, 1, order.AppendUint16(order.AppendUint16(nil, orientation), 0))
	tiff = append(tiff, "\x00\x00\x00\x00GPS 38.7223 N 9.1393 W"...)
	block := append([]byte("Exif\x00\x00"), tiff...)
	out := append([]byte{}, file[:2]...)
	out = append(out, 0xff, 0xe1)
	out = binary.BigEndian.AppendUint16(out, uint16(len(block)+2))
	return append(append(out, block...), file[2:]...)
}

// quarters names the colours of a picture's quarters, row by row.
func quarters(tb testing.TB, file []byte) (names string, size image.Point) {
	tb.Helper()
	m, err := jpeg.Decode(bytes.NewReader(file))
	if err != nil {
		tb.Fatal(err)
	}
	size = m.Bounds().Size()
	for _, p := range []image.Point{{1, 1}, {3, 1}, {1, 3}, {3, 3}} {
		r, g, b, _ := m.At(p.X*size.X/4, p.Y*size.Y/4).RGBA()
		switch {
		case r > 0x8000 && g > 0x8000:
			names += "w"
		case r > 0x8000:
			names += "r"
		case g > 0x8000:
			names += "g"
		case b > 0x8000:
			names += "b"
		}
	}
	return names, size
}

// The eight orientations of Exif 2.32, tag 0x0112: where the picture's first row
// and first column are seen. Written by either kind of camera.
func TestPhotosAreUpright(t *testing.T) {
	t.Parallel()
	for o, want := range map[uint16]string{
		1: "rgbw", // row 0 at the top, column 0 at the left
		2: "grwb", // top, right
		3: "wbgr", // bottom, right
		4: "bwrg", // bottom, left
		5: "rbgw", // left, top
		6: "brwg", // right, top
		7: "wgbr", // right, bottom
		8: "gwrb", // left, bottom
		0: "rgbw", // none of them
		9: "rgbw",
	} {
		for _, order := range []binary.AppendByteOrder{binary.LittleEndian, binary.BigEndian} {
			kept, err := Clean(withExif(four(t, 64, 32), order, o))
			if err != nil {
				t.Fatal(err)
			}
			size := image.Pt(64, 32)
			if o >= 5 && o <= 8 {
				size = image.Pt(32, 64)
			}
			if got, is := quarters(t, kept); got != want || is != size {
				t.Errorf("orientation %d, %v: %s of %v, want %s of %v", o, order, got, is, want, size)
			}
			if bytes.Contains(kept, []byte("Exif")) || bytes.Contains(kept, []byte("GPS")) {
				t.Errorf("orientation %d: what the camera wrote is still there", o)
			}
		}
	}
}

// A large picture is kept smaller, whatever is in it; what claims to be beyond all
// bounds is refused by its header.
func TestPhotosAreBounded(t *testing.T) {
	t.Parallel()
	kept, err := Clean(four(t, 3000, 1000))
	if err != nil {
		t.Fatal(err)
	}
	if names, size := quarters(t, kept); names != "rgbw" || size != image.Pt(2048, 682) {
		t.Errorf("%s of %v", names, size)
	}
	noise := image.NewRGBA(image.Rect(0, 0, 256, 256)) // compresses worst
	random := rand.New(rand.NewPCG(7, 2026))
	for i := range noise.Pix {
		noise.Pix[i] = byte(random.Uint32())
	}
	best, err := encoded(noise, 1<<20)
	if err != nil {
		t.Fatal(err)
	}
	if less, err := encoded(noise, len(best)-1); err != nil || len(less) >= len(best) {
		t.Errorf("%d bytes where %d are too many, %v", len(less), len(best), err)
	}
	if none, err := encoded(noise, 100); err == nil || !strings.Contains(err.Error(), "too much detail") {
		t.Errorf("%d bytes of 100, %v", len(none), err)
	}

	huge := four(t, 64, 32)
	at := bytes.Index(huge, []byte{0xff, 0xc0}) // start of frame: length, depth, height, width
	binary.BigEndian.PutUint16(huge[at+5:], 60000)
	binary.BigEndian.PutUint16(huge[at+7:], 60000)
	var drawn bytes.Buffer
	if err := png.Encode(&drawn, image.NewRGBA(image.Rect(0, 0, 4, 4))); err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		file []byte
		says string
	}{
		"a header of 60,000 × 60,000": {huge, "60000 × 60000 pixels, and 25 million are the most"},
		"too many bytes":              {make([]byte, LargestFile+1), "more than 16 MB"},
		"another kind of picture":     {drawn.Bytes(), "no JPEG photo"},
		"nothing":                     {nil, "no JPEG photo"},
		"cut short":                   {best[:len(best)/2], "damaged"},
	} {
		if kept, err := Clean(c.file); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %d bytes, %v", name, len(kept), err)
		}
	}
}

// Whatever is sent, nothing is read beyond its end, and what is kept can be shown.
func FuzzClean(f *testing.F) {
	f.Add(four(f, 16, 8))
	f.Add(withExif(four(f, 16, 8), binary.BigEndian, 6))
	f.Fuzz(func(t *testing.T, file []byte) {
		if header, err := jpeg.DecodeConfig(bytes.NewReader(file)); err == nil && header.Width*header.Height > 1<<16 {
			t.Skip("slow")
		}
		kept, err := Clean(file)
		if err != nil {
			return
		}
		if _, err := jpeg.Decode(bytes.NewReader(kept)); err != nil {
			t.Error(err)
		}
	})
}
