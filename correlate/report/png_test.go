package report

import (
	"bytes"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"math/rand/v2"
	"testing"
)

// The standard library's reader, which checks every checksum, reads back each pixel.
func TestPNGIsReadBack(t *testing.T) {
	t.Parallel()
	random := rand.New(rand.NewPCG(20261130, 1))
	for _, size := range []image.Point{{1, 1}, {7, 3}, {1920, 1080}} {
		m := image.NewRGBA(image.Rectangle{Max: size})
		draw.Draw(m, m.Rect, image.White, image.Point{}, draw.Src)
		for range size.X * size.Y / 3 {
			m.SetRGBA(random.IntN(size.X), random.IntN(size.Y), color.RGBA{uint8(random.Uint32()), uint8(random.Uint32()), uint8(random.Uint32()), 255})
		}
		var out bytes.Buffer
		if err := writePNG(&out, m); err != nil {
			t.Fatal(err)
		}
		back, err := png.Decode(&out)
		if err != nil {
			t.Fatalf("%v: %v", size, err)
		}
		again := image.NewRGBA(m.Rect)
		draw.Draw(again, m.Rect, back, image.Point{}, draw.Src)
		if back.Bounds() != m.Rect || !bytes.Equal(again.Pix, m.Pix) {
			t.Errorf("%v: other pixels", size)
		}
	}
}
