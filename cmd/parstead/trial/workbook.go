package trial

import (
	"parstead/cmd/parstead/workbook"
)

// parseWorkbook reads the first sheet of an .xlsx file; nil if it can't be read.
func parseWorkbook(file string, data []byte, p *problems) *sheet {
	rows, err := workbook.Read(data)
	if err != nil {
		p.fault(place{file, 1, 1}, err.Error(), "save it again as .xlsx or .csv, without a password")
		return nil
	}
	s := &sheet{file: file, workbook: true}
	for i, row := range rows {
		cells := make([]cell, len(row))
		for j, c := range row {
			cells[j] = cell{sheet: s, text: c.Text, turn: c.Turn, at: place{file, i + 1, j + 1}}
			if c.Unknown {
				p.fault(cells[j].at, "the cell is a formula whose value the file doesn't hold", "save it from a spreadsheet program, or type the value")
			}
		}
		s.add(cells, p)
	}
	return s.orNothing(p)
}
