// Package photo makes of a picture that a phone sends one that can be kept: upright,
// of bounded size, and without anything else that stood in the file, such as where
// and by whom it was taken.
package photo

import (
	"bytes"
	"errors"
	"fmt"
	"image"
	"image/jpeg"

	"golang.org/x/image/draw"
)

// Folder is the one, beside a trial's sheets, that holds the photos of its plants.
const Folder = "photos"

// The bounds of what is taken in and of what is kept.
const (
	LargestFile = 16 << 20 // bytes that are looked at
	LargestKept = 2 << 20  // bytes of what comes out
	mostPixels  = 25e6     // of the picture that is sent: decoded, that takes 75 MB at most
	longestSide = 2048     // pixels of the picture that is kept
	smallSide   = 480      // pixels of one that stands beside others
)

// qualities are tried in turn until the picture is small enough.
var qualities = []int{85, 70, 55, 40}

// Clean decodes a JPEG file and encodes it anew. Its size is judged by the file's
// header, before anything is decoded.
//
// Errors say what is wrong with the file, and the mend.
func Clean(file []byte) ([]byte, error) {
	if len(file) > LargestFile {
		return nil, fmt.Errorf("the photo has more than %d MB: take it with fewer pixels", LargestFile>>20)
	}
	header, err := jpeg.DecodeConfig(bytes.NewReader(file))
	if err != nil {
		return nil, errors.New("the file is no JPEG photo: set the camera to JPEG")
	}
	if pixels := float64(header.Width) * float64(header.Height); pixels > mostPixels || pixels == 0 {
		return nil, fmt.Errorf("the photo has %d × %d pixels, and %.0f million are the most: take it with fewer", header.Width, header.Height, mostPixels/1e6)
	}
	taken, err := jpeg.Decode(bytes.NewReader(file))
	if err != nil {
		return nil, errors.New("the photo is damaged: take it again")
	}
	return encoded(turned(shrunk(taken, longestSide), orientation(file)), LargestKept)
}

// Small makes a photo that was kept small enough to stand on a page beside others.
//
// Errors: what is no such photo.
func Small(kept []byte) ([]byte, error) {
	header, err := jpeg.DecodeConfig(bytes.NewReader(kept))
	if err != nil || max(header.Width, header.Height) > longestSide {
		return nil, errors.New("this is no photo that was kept")
	}
	m, err := jpeg.Decode(bytes.NewReader(kept))
	if err != nil {
		return nil, fmt.Errorf("the photo is damaged: %w", err)
	}
	return encoded(shrunk(m, smallSide), LargestKept)
}

// encoded is the picture in as many bytes at most, as good as they allow.
func encoded(m image.Image, most int) ([]byte, error) {
	for _, quality := range qualities {
		var out bytes.Buffer
		if err := jpeg.Encode(&out, m, &jpeg.Options{Quality: quality}); err != nil {
			return nil, fmt.Errorf("encode the photo: %w", err)
		}
		if out.Len() <= most {
			return out.Bytes(), nil
		}
	}
	return nil, errors.New("the photo holds too much detail to be kept: take it from further away")
}

// shrunk is the picture with its longest side as long as may be.
func shrunk(m image.Image, side int) *image.RGBA {
	size := m.Bounds().Size()
	if longest := max(size.X, size.Y); longest > side {
		size.X, size.Y = max(1, size.X*side/longest), max(1, size.Y*side/longest)
	}
	out := image.NewRGBA(image.Rectangle{Max: size})
	draw.ApproxBiLinear.Scale(out, out.Bounds(), m, m.Bounds(), draw.Src, nil)
	return out
}

// turned is the picture as it was seen, by the orientation that the camera wrote
// (1 to 8, Exif 2.32, table 4 under tag 0x0112).
func turned(m *image.RGBA, orientation int) *image.RGBA {
	w, h := m.Bounds().Dx(), m.Bounds().Dy()
	var from func(x, y int) (int, int) // of a pixel of the result
	switch orientation {
	case 2:
		from = func(x, y int) (int, int) { return w - 1 - x, y }
	case 3:
		from = func(x, y int) (int, int) { return w - 1 - x, h - 1 - y }
	case 4:
		from = func(x, y int) (int, int) { return x, h - 1 - y }
	case 5:
		from = func(x, y int) (int, int) { return y, x }
	case 6:
		from = func(x, y int) (int, int) { return y, h - 1 - x }
	case 7:
		from = func(x, y int) (int, int) { return w - 1 - y, h - 1 - x }
	case 8:
		from = func(x, y int) (int, int) { return w - 1 - y, x }
	default:
		return m
	}
	size := image.Pt(w, h)
	if orientation > 4 {
		size = image.Pt(h, w)
	}
	out := image.NewRGBA(image.Rectangle{Max: size})
	for y := range size.Y {
		for x := range size.X {
			u, v := from(x, y)
			out.SetRGBA(x, y, m.RGBAAt(u, v))
		}
	}
	return out
}
