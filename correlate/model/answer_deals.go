package model

import (
	"math"
	"math/rand/v2"
)

// Limits of the test within bins.
const (
	mostAnswersListed = 1e6
	answersDrawn      = 99_999
)

// AnswerDeals tests whether yes answers go with a number, each bin's number of
// them given, by all deals of the answers to the plants within bins.
type AnswerDeals struct {
	Deals  float64 // distinct ones, over bins where both answers and two numbers occur; +Inf beyond what a float64 holds
	Listed bool    // all were listed; else 99,999 were drawn, seeded
	P      float64
	OK     bool // false under 20 deals, where no p could be small
}

// DealAnswers deals the answers y, 1 or 0 a row, over the numbers x. The statistic
// is |Σ x·y − its mean|. With all deals listed, p is the share of deals, the one
// that was made included, with a statistic as large; with drawn ones
// (1 + those)/(1 + 99999). It panics where lengths differ.
func DealAnswers(bins Factor, x, y []float64, seed uint64) AnswerDeals {
	if len(bins.Of) != len(x) || len(y) != len(x) {
		panic("model: answers, numbers and bins differ in length")
	}
	d := answerDeals{}
	rows := make([][]int, len(bins.Levels))
	for i, b := range bins.Of {
		rows[b] = append(rows[b], i)
	}
	t := AnswerDeals{Deals: 1}
	for _, of := range rows {
		if b := tilt([][]float64{x}, of, y); b != nil {
			t.Deals *= d.add(b)
		}
	}
	if t.Deals = math.Round(t.Deals); !(t.Deals >= minDeals) {
		return t
	}
	t.OK = true
	least := math.Abs(d.observed) - 1e-9*d.size
	if t.Listed = t.Deals <= mostAnswersListed; t.Listed {
		t.P = float64(d.list(least)) / t.Deals
		return t
	}
	rng := rand.New(rand.NewPCG(seed, 0x616e7377)) // "answ"
	as := 1
	for range answersDrawn {
		if math.Abs(d.draw(rng)) >= least {
			as++
		}
	}
	t.P = float64(as) / (1 + answersDrawn)
	return t
}

// answerDeals deals the rarer answers of each bin anew.
type answerDeals struct {
	x        [][]float64 // by bin, less the bin's mean; the sign is that of yes
	most     []int       // how many are dealt
	observed float64     // Σ x·y less its mean
	size     float64     // how large sums may be, for rounding
}

// add takes a bin and gives the number of its deals; a bin of one number is left out.
func (d *answerDeals) add(b *tilted) (deals float64) {
	x := make([]float64, len(b.x))
	for i, v := range b.x {
		x[i] = b.sign * v[0]
	}
	if maxAbs(x) == 0 {
		return 1
	}
	d.x, d.most = append(d.x, x), append(d.most, b.most)
	d.observed += b.sign * b.did[0]
	d.size += float64(b.most) * maxAbs(x)
	deals = 1
	for k := range b.most {
		deals = deals * float64(len(x)-k) / float64(k+1)
	}
	return deals
}

// list counts the deals whose sum is at least so large in size.
func (d *answerDeals) list(least float64) int {
	as := 0
	var deal func(bin, from, left int, sum float64)
	deal = func(bin, from, left int, sum float64) {
		if left == 0 {
			if bin++; bin == len(d.x) {
				if math.Abs(sum) >= least {
					as++
				}
				return
			}
			from, left = 0, d.most[bin]
		}
		for i := from; i <= len(d.x[bin])-left; i++ {
			deal(bin, i+1, left-1, sum+d.x[bin][i])
		}
	}
	deal(0, 0, d.most[0], 0)
	return as
}

// draw deals at random.
func (d *answerDeals) draw(rng *rand.Rand) (sum float64) {
	for b, x := range d.x {
		for k := range d.most[b] {
			i := k + rng.IntN(len(x)-k)
			x[k], x[i] = x[i], x[k]
			sum += x[k]
		}
	}
	return sum
}
