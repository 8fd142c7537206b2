package report

import (
	"encoding/binary"
	"hash/crc32"
	"image"
	"io"

	"github.com/klauspost/compress/zlib"
)

// writePNG writes an opaque image as PNG (ISO/IEC 15948), 8 bits a colour. Drawings
// are flat areas, which deflate packs well as they are; the standard library tries
// five filters on every line and takes four times as long, most of a report's time.
func writePNG(w io.Writer, m *image.RGBA) error {
	if _, err := io.WriteString(w, "\x89PNG\r\n\x1a\n"); err != nil {
		return err
	}
	size := m.Rect.Size()
	head := binary.BigEndian.AppendUint32(nil, uint32(size.X)) //nolint:gosec // an image's size is never negative
	head = binary.BigEndian.AppendUint32(head, uint32(size.Y)) //nolint:gosec // as above
	head = append(head, 8, 2, 0, 0, 0)                         // 8 bits, red green blue, deflate, filters by line, not interlaced
	if err := writeChunk(w, "IHDR", head); err != nil {
		return err
	}
	body := &chunks{w: w}
	pack, err := zlib.NewWriterLevel(body, zlib.BestSpeed)
	if err != nil {
		return err
	}
	line := make([]byte, 1+3*size.X) // begins with the filter: 0, none
	for y := range size.Y {
		pixels := m.Pix[y*m.Stride:]
		for x := range size.X {
			copy(line[1+3*x:4+3*x], pixels[4*x:])
		}
		if _, err := pack.Write(line); err != nil {
			return err
		}
	}
	if err := pack.Close(); err != nil {
		return err
	}
	return writeChunk(w, "IEND", nil)
}

// chunks writes what it gets as chunks of data.
type chunks struct{ w io.Writer }

func (c *chunks) Write(data []byte) (int, error) { return len(data), writeChunk(c.w, "IDAT", data) }

// writeChunk writes a chunk: its length, name, data and checksum.
func writeChunk(w io.Writer, name string, data []byte) error {
	chunk := binary.BigEndian.AppendUint32(make([]byte, 0, 12+len(data)), uint32(len(data))) //nolint:gosec // less than what deflate holds back
	chunk = append(append(chunk, name...), data...)
	_, err := w.Write(binary.BigEndian.AppendUint32(chunk, crc32.ChecksumIEEE(chunk[4:])))
	return err
}
