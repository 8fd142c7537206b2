package photo

import (
	"bytes"
	"encoding/binary"
)

// Markers and tags of a JPEG file with Exif (JPEG: ITU-T T.81, table B.1; Exif 2.32,
// 4.5.4 and 4.6.2).
const (
	startOfImage   = 0xd8
	startOfScan    = 0xda
	app1           = 0xe1
	orientationTag = 0x0112
	shortType      = 3
	entryBytes     = 12
)

// orientation is what the camera wrote of how it was held, 1 to 8; 1 where it wrote
// nothing that can be read.
func orientation(file []byte) int {
	if len(file) < 4 || file[0] != 0xff || file[1] != startOfImage {
		return 1
	}
	for at := 2; at+4 <= len(file) && file[at] == 0xff; {
		marker, length := file[at+1], int(binary.BigEndian.Uint16(file[at+2:]))
		end := at + 2 + length
		if marker == startOfScan || length < 2 || end > len(file) {
			break
		}
		if tiff, ok := bytes.CutPrefix(file[at+4:end], []byte("Exif\x00\x00")); ok && marker == app1 {
			return orientationOf(tiff)
		}
		at = end
	}
	return 1
}

// orientationOf finds the orientation in the first directory of an Exif block.
func orientationOf(tiff []byte) int {
	var order binary.ByteOrder = binary.LittleEndian
	switch {
	case bytes.HasPrefix(tiff, []byte("MM\x00*")):
		order = binary.BigEndian
	case !bytes.HasPrefix(tiff, []byte("II*\x00")):
		return 1
	}
	if len(tiff) < 8 {
		return 1
	}
	first := uint64(order.Uint32(tiff[4:]))
	if first+2 > uint64(len(tiff)) {
		return 1
	}
	entries := tiff[first+2:]
	for range order.Uint16(tiff[first:]) {
		if len(entries) < entryBytes {
			break
		}
		if order.Uint16(entries) == orientationTag && order.Uint16(entries[2:]) == shortType {
			if o := int(order.Uint16(entries[8:])); o >= 1 && o <= 8 {
				return o
			}
			break
		}
		entries = entries[entryBytes:]
	}
	return 1
}
