package cells

import "fmt"

// What a file of cells may hold at most: far beyond any trial's sheet, and little
// enough to be read within seconds and without harm on a small machine. A stray
// cell far out in a workbook, or a file that is something else, is named instead
// of read.
const (
	MostBytes   = 32 << 20 // of a text, of a workbook's file, and of each of its parts unpacked
	MostRows    = 200_000
	MostColumns = 1_000
	mostCells   = 1_000_000 // in all, blank ones before the last of their row included
	mostOfCell  = 32_767    // signs of one cell (ECMA-376 part 1, 18.18.89 has no more; spreadsheets none either)
)

const mendFar = "clear what stands outside the table (delete its rows and columns, then save), or part the file"

// tooFar is the fault of a cell beyond what is read; nil for one within.
func tooFar(line, column int) *Fault {
	switch {
	case line > MostRows:
		return &Fault{line, column, fmt.Sprintf("a cell stands in line %d; %d are read", line, MostRows), mendFar}
	case column > MostColumns:
		return &Fault{line, column, fmt.Sprintf("a cell stands in column %d; %d are read", column, MostColumns), mendFar}
	}
	return nil
}

// tooMany is the fault of more cells than are read.
func tooMany(line, column int) *Fault {
	return &Fault{line, column, fmt.Sprintf("more than %d cells stand up to here, blank ones between them included", mostCells), mendFar}
}

// tooLong is the fault of a cell with more signs than one may have.
func tooLong(line, column int) *Fault {
	return &Fault{line, column, fmt.Sprintf("the cell has more than %d signs", mostOfCell), "shorten it; a quotation mark that nothing closes may have taken in the lines below"}
}

// TooLarge is the fault of a file of so many bytes; nil for one that is read.
func TooLarge(size int64) *Fault {
	if size <= MostBytes {
		return nil
	}
	return &Fault{1, 1, fmt.Sprintf("the file has %d MB; %d are read", size>>20, MostBytes>>20), "part it, or look whether it is the file that was meant"}
}
