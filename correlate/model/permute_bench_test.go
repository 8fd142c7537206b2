package model

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"
)

// harvest is a trial of the size that the speed targets name: 162 plants, six
// treatments, two bins of 9 × 9, light.
func harvest(b *testing.B) (f *Fit, bin, row, column []int) {
	b.Helper()
	rng := rand.New(rand.NewPCG(1, 1))
	const n = 162
	medium := Factor{Name: "medium", Levels: []string{"a", "b", "c", "d", "e", "f"}, Of: make([]int, n)}
	bins := Factor{Name: "bin", Levels: []string{"1", "2"}, Of: make([]int, n)}
	light, y := make([]float64, n), make([]float64, n)
	row, column = make([]int, n), make([]int, n)
	for i := range n {
		medium.Of[i], bins.Of[i] = i%6, i/81
		row[i], column[i] = i%81/9, i%9
		light[i] = 12 + rng.NormFloat64()
		y[i] = 3 + 0.4*light[i] + 0.2*float64(medium.Of[i]) + rng.NormFloat64()
	}
	f = fitted(b, Terms{Bin: &bins, Treatments: []Treatment{{medium, PerPlant}}, Light: &Variable{"light", light}}, y)
	return f, bins.Of, row, column
}

// paired runs limit and ours in turn and reports the median of the ratios.
func paired(b *testing.B, limit, ours func()) {
	b.Helper()
	limit()
	ours()
	var ratios []float64
	for b.Loop() {
		for range 5 {
			start := time.Now()
			limit()
			middle := time.Now()
			ours()
			ratios = append(ratios, float64(time.Since(middle))/float64(middle.Sub(start)))
		}
	}
	slices.Sort(ratios)
	b.ReportMetric(ratios[len(ratios)/2], "xlimit")
}

// BenchmarkRedealt sets 10,000 re-dealt F against a bare loop on one thread
// that permutes residuals and takes dot products with orthonormal columns.
func BenchmarkRedealt(b *testing.B) {
	f, bin, _, _ := harvest(b)
	dealt := f.Design.treatments
	shuffle := NewShuffle(f.Design.Combinations(dealt), bin)
	limit := func() { bareF(f) }
	b.Run("one thread", func(b *testing.B) {
		r := f.redealing(dealt)
		labels, counts := make([]int, f.Design.N), make([]int64, 1)
		paired(b, limit, func() {
			rng, w := rand.New(rand.NewPCG(1, 1)), r.worker()
			for range 10000 {
				shuffle.Deal(rng, labels)
				w.count(labels, counts)
			}
		})
	})
	b.Run("all threads", func(b *testing.B) {
		paired(b, limit, func() { Redeal(f, dealt, shuffle.Deal, 10000, 1) })
	})
}

func bareF(f *Fit) (reached int) {
	rng := rand.New(rand.NewPCG(1, 1))
	q := append([][]float64{f.basis.q[0], f.basis.q[1]}, f.basis.q[7])
	e := slices.Clone(f.Y)
	project(e, q, make([]float64, 3))
	treatments := f.basis.q[2:7]
	total := dot(e, e)
	for range 10000 {
		for i := len(e) - 1; i > 0; i-- {
			j := rng.IntN(i + 1)
			e[i], e[j] = e[j], e[i]
		}
		var with, without float64
		for _, column := range treatments {
			c := dot(column, e)
			with += c * c
		}
		for _, column := range q {
			c := dot(column, e)
			without += c * c
		}
		if with/(total-with-without) > 0.1 {
			reached++
		}
	}
	return reached
}

// BenchmarkMoran sets 9,999 permuted and projected I against a bare loop on one
// thread; "unprojected" is the same loop without the projection.
func BenchmarkMoran(b *testing.B) {
	f, bin, row, column := harvest(b)
	n := SharedEdges(bin, row, column)
	b.Run("one thread", func(b *testing.B) {
		p := newPermuted(f.Residuals, f.basis.q, n, bin)
		e := make([]float64, 162)
		paired(b, func() { bareMoran(f, n, true) }, func() {
			rng, z := rand.New(rand.NewPCG(1, 1)), slices.Clone(p.z)
			for range 9999 {
				p.shuffle(rng, z)
				p.project(z, e)
				p.near.Moran(e)
			}
		})
	})
	b.Run("all threads", func(b *testing.B) {
		paired(b, func() { bareMoran(f, n, true) }, func() { Moran(f, n, bin, 9999, 1) })
	})
	b.Run("all threads, limit unprojected", func(b *testing.B) {
		paired(b, func() { bareMoran(f, n, false) }, func() { Moran(f, n, bin, 9999, 1) })
	})
}

func bareMoran(f *Fit, n Neighbours, projected bool) (largest float64) {
	lists := make([][]int, len(f.Y))
	for _, d := range n.edge {
		lists[d.a], lists[d.b] = append(lists[d.a], int(d.b)), append(lists[d.b], int(d.a))
	}
	rng := rand.New(rand.NewPCG(1, 1))
	z, e := slices.Clone(f.Residuals), make([]float64, len(f.Y))
	for range 9999 {
		for i := len(z) - 1; i > 0; i-- {
			j := rng.IntN(i + 1)
			z[i], z[j] = z[j], z[i]
		}
		copy(e, z)
		if projected {
			for _, q := range f.basis.q {
				c := dot(q, z)
				for i, v := range q {
					e[i] -= c * v
				}
			}
		}
		var products, squares float64
		for i, list := range lists {
			var s float64
			for _, j := range list {
				s += e[j]
			}
			products += e[i] * s / float64(len(list))
			squares += e[i] * e[i]
		}
		largest = math.Max(largest, products/squares)
	}
	return largest
}
