package model

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// manyColumns are intercept, bins, treatments and a covariate of as many rows as are
// condensed.
func manyColumns() [][]float64 {
	rng := rand.New(rand.NewPCG(5, 8))
	columns := make([][]float64, 14)
	for j := range columns {
		columns[j] = make([]float64, condenseFrom)
	}
	for i := range columns[0] {
		columns[0][i] = 1
		if bin := rng.IntN(9); bin > 0 {
			columns[bin][i] = 1
		}
		if g := rng.IntN(5); g > 0 {
			columns[8+g][i] = 1
		}
		columns[13][i] = 1e6 + rng.NormFloat64() + columns[3][i]
	}
	return columns
}

// A factorisation is checked by what it is: Q'Q = I, Q R = X, to what summing 20,000
// numbers loses.
func TestCondensedColumnsAreFactorised(t *testing.T) {
	t.Parallel()
	columns := manyColumns()
	b, err := newBasis(columns, true)
	if err != nil {
		t.Fatal(err)
	}
	if b.lead == nil || len(b.lead.q) != 13 || len(b.lead.root) != 45 {
		t.Fatalf("condensed: %+v", b.lead)
	}
	for j, x := range columns {
		for k := range j + 1 {
			want := 0.0
			if k == j {
				want = 1
			}
			if got := dot(b.q[j], b.q[k]); math.Abs(got-want) > 1e-12 {
				t.Errorf("q%d·q%d = %v", j, k, got)
			}
		}
		left := slices.Clone(x)
		for k, q := range b.q[:j+1] {
			for i, v := range q {
				left[i] -= b.r[j][k] * v
			}
		}
		if got := norm(left) / norm(x); got > 1e-12 {
			t.Errorf("column %d is missed by %v of its length", j, got)
		}
	}
	w, z := slices.Clone(columns[13]), make([]float64, 14)
	b.project(w, z)
	if got := norm(w) / norm(columns[13]); got > 1e-12 {
		t.Errorf("a column's own projection leaves %v of its length", got)
	}
	for k, v := range z {
		if math.Abs(v-b.r[13][k]) > 1e-12*norm(columns[13]) {
			t.Errorf("coordinate %d: %v, not %v", k, v, b.r[13][k])
		}
	}
}

// A column that others make up is named, be it among the condensed ones or after them.
func TestCondensedColumnsThatAreAlike(t *testing.T) {
	t.Parallel()
	for name, column := range map[string]int{"a bin": 10, "a covariate": 13} {
		columns := manyColumns()
		for i := range columns[column] {
			columns[column][i] = columns[2][i] - 2*columns[7][i]
		}
		_, err := newBasis(columns, true)
		var alike *collinear
		if !errors.As(err, &alike) || alike.j != column || !slices.Equal(alike.of, []int{2, 7}) {
			t.Errorf("%s: %v", name, err)
		}
	}
}
