package model

import "math"

// condensed are the leading columns of a basis over very many rows: intercept, bins and
// treatments, which have one row for each cell of the trial and not for each plant. What
// is found among the cells, each weighing as many rows as it has, holds for all rows: a
// projection costs one pass over the rows, however many columns there are.
type condensed struct {
	cell []int32
	root []float64   // by cell: √ of its number of rows
	q    [][]float64 // by column: by cell, times root
}

// condenseFrom is the number of rows from which columns are condensed: what fewer take
// is no burden, and their results stay as they are to the last bit.
const condenseFrom = manyRows

// rowsPerCell must lie in a cell on average.
const rowsPerCell = 32

// leading begins a basis: with as many columns as can be condensed, or with none.
func leading(columns [][]float64, centre bool) (*basis, error) {
	if len(columns) == 0 || len(columns[0]) < condenseFrom {
		return &basis{}, nil
	}
	c := &condensed{cell: make([]int32, len(columns[0]))}
	first, lead := []int32{0}, 0 // by cell: one of its rows
	for _, x := range columns {
		finer, ok := c.split(x, len(x)/rowsPerCell)
		if !ok {
			break
		}
		first, lead = finer, lead+1
	}
	if lead < 2 {
		return &basis{}, nil
	}
	for _, of := range c.cell {
		c.root[of]++
	}
	small := make([][]float64, lead)
	for j := range small {
		small[j] = make([]float64, len(first))
		for of, i := range first {
			small[j][of] = columns[j][i] * math.Sqrt(c.root[of])
		}
	}
	for of, rows := range c.root {
		c.root[of] = math.Sqrt(rows)
	}
	b, err := newBasis(small, centre)
	if err != nil {
		return nil, err
	}
	c.q = b.q
	b.lead, b.q = c, make([][]float64, lead, len(columns))
	row := make([]float64, len(first))
	for j, q := range c.q {
		for of, root := range c.root {
			row[of] = q[of] / root
		}
		b.q[j] = make([]float64, len(c.cell))
		for i, of := range c.cell {
			b.q[j][i] = row[of]
		}
	}
	for j, r := range b.r {
		b.r[j] = append(r, make([]float64, len(columns)-lead)...)
	}
	return b, nil
}

// mostValues a column may take in a cell; light and covariates take more.
const mostValues = 8

// split tells rows apart by the values of one more column and gives a row of each cell;
// it is not ok, and leaves the cells, where there would be more than most, or a column is
// no factor's.
func (c *condensed) split(x []float64, most int) (first []int32, ok bool) {
	type part struct {
		value float64
		cell  int32
	}
	parts := make([][]part, max(1, len(c.root)))
	cell := make([]int32, len(x))
	for i, v := range x {
		of := parts[c.cell[i]]
		k := 0
		for k < len(of) && of[k].value != v {
			k++
		}
		if k == len(of) {
			if len(first) == most || k == mostValues {
				return nil, false
			}
			of = append(of, part{v, int32(len(first))}) //nolint:gosec // fewer than rows
			parts[c.cell[i]] = of
			first = append(first, int32(i)) //nolint:gosec // rows lie in memory
		}
		cell[i] = of[k].cell
	}
	c.cell, c.root = cell, make([]float64, len(first))
	return first, true
}

// project removes from w its part in the columns, once, and adds its coordinates to z.
func (c *condensed) project(w, z []float64) {
	sums := make([]float64, len(c.root))
	for i, of := range c.cell {
		sums[of] += w[i]
	}
	for of, root := range c.root {
		sums[of] /= root
	}
	take := make([]float64, len(sums))
	for k, q := range c.q {
		along := dot(q, sums)
		z[k] += along
		for of, v := range q {
			take[of] += along * v
		}
	}
	for of, root := range c.root {
		take[of] /= root
	}
	for i, of := range c.cell {
		w[i] -= take[of]
	}
}
