// Package store keeps a trial's raw readings and its log on disk, in one bbolt
// file that one process holds at a time; others reach it over a unix socket.
//
// # Promises
//
// What Append and AddEvent return without an error is on the disk, whatever
// happens to the process afterwards. Readings are never changed or erased. A
// Snapshot stays what it was when it was opened. A damaged database is
// recognised and never written to: all pages that anything leads to are walked
// when it is opened, each once, and held against the list of free ones; of a
// database of more than 64 MB the blocks' behind, for which the first write and
// the first reading of a series wait. Records are checked when they are read. A
// file that is no longer at its path gets nothing more (DisplacedError), and none
// is begun where there was one before (ErrMissing).
//
// # Layout of the file, format 1
//
// Five buckets. Numbers in keys are big-endian, so that the order of keys is
// that of numbers; varint and uvarint are the variable-length integers of
// encoding/binary, varint with zig-zag; fixed integers and floats in records are
// little-endian.
//
//	meta     "format": uint32; "boot": uint32, counts openings
//	sensors  sensor number (uint64, from 1) -> sensor record
//	groups   sequence (uint64)              -> group record: readings not yet packed
//	blocks   sensor (uint32), week (int32 with its sign bit flipped),
//	         piece (uint16)                 -> block record
//	log      id (uint64, from 1)            -> event record
//
// A week is seven days of Unix time counted from 1970-01-01, by the reading's
// raw time. Every record begins with a letter for its kind and a byte for its
// version (1) and ends with the CRC-32C of its key and of all its bytes before
// (4 bytes): a record can be trusted wherever it is found, which is what
// Salvage relies on.
//
// Sensor record, 'S': length of the name (uvarint), name, readings packed
// (uvarint), newest own time among them (varint, Unix ns), then, if any of them
// is usable, the latest: marks (byte), time (varint, ns), value (float64),
// arrival (varint, Unix s), boot (uvarint), uptime (varint, s).
//
// Event record, 'E': JSON.
//
// Group record, 'G': one Append, the unit of acknowledgement.
//
//	count (uvarint); arrival of the first reading (varint, Unix s), its boot
//	(uvarint) and its uptime (varint, s); then for each reading
//	  sensor (uvarint)
//	  flags: bits 0-3 marks; bits 4-5 how the time is written; bit 6 arrival,
//	         uptime and boot differ from the reading before; bit 7 short value
//	  with bit 6: the three differences (varints)
//	  time: 0 it is the arrival, nothing; 1 seconds, 2 milliseconds,
//	        3 nanoseconds since the first arrival (varint)
//	  value: float64, or float32 where that loses nothing
//
// Block record, 'B': at most 65536 readings of one sensor and week, ordered by
// time; readings of one time keep the order in which they came. A header of
// code numbers, then five columns, each compressed by zstd where that makes it
// smaller.
//
//	time code, value code, exponent, marks that any reading has, marks that all
//	have, columns that are compressed (a bit each): one byte each;
//	count (uvarint), first time (varint, ns), last less first (uvarint), number
//	of the last group that went in (uvarint), smallest and largest boot
//	(uvarints); size of each column before and after compression (uvarints)
//
// Times. The steps between readings are whole multiples of a unit, the largest
// of 1 s, 1 ms, 1 µs and 1 ns that serves (upper half of the time code: 0 to 3),
// and written by one of three codes (lower half): 0, runs of (step, count), for
// sensors that keep whole seconds; else the shorter of 1, changes of the step
// (varints), and 2, the usual step and then differences to it (varints).
//
// Values. Code 0: value × 10^exponent is a whole number and the differences
// are written (varints); a value that is no such number, to the last bit, stands
// in the column of exceptions as (distance to the exception before, float64).
// Code 1, where more than one in sixteen would be an exception: the exclusive or
// of neighbours' bits, the lowest bytes of all readings first, then the next.
//
// Marks, where not all are equal, and arrivals are runs of equal numbers:
// (difference to the run before, count). Arrivals are three such sequences: the
// arrival's second less the time's, the boot number, the arrival less the
// uptime. All that arrived comes back bit for bit.
//
// # Packing
//
// Pack takes the oldest groups, joins their readings with the last block of each
// sensor and week, and writes the blocks in the transaction that removes the
// groups, so a reading is always in exactly one of the two. A week of more than
// 65536 readings has several pieces; late readings go into the last, so pieces
// may overlap in time and are merged when read.
//
// # The clock
//
// Readings without own time carry the time of their arrival by the system clock,
// with the boot number and the monotonic uptime beside it. When the clock steps,
// an event of kind light.ClockStepped is logged (see ClockStep): arrivals of that
// boot before that uptime are shifted when they are read. What is stored stays.
package store
