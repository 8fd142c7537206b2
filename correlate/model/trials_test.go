package model

import (
	"math"
	"testing"
)

// pooledCase is an entry of testdata/trials/pooled.json, computed by numpy and
// scipy (pooled.py).
type pooledCase struct {
	Name        string      `json:"name"`
	Value       []float64   `json:"value"`
	SE          []float64   `json:"se"`
	DF          []*float64  `json:"df"` // null: infinite
	Q           float64     `json:"q"`
	P           float64     `json:"p"`
	Mean        float64     `json:"mean"`
	TheseSE     float64     `json:"these_se"`
	TheseCI95   [2]float64  `json:"these_ci95"`
	LikeSE      float64     `json:"like_se"`
	LikeCI95    [2]float64  `json:"like_ci95"`
	Between     float64     `json:"between"`
	BetweenCI95 *[2]float64 `json:"between_ci95"`
}

func (c pooledCase) estimates() []Estimate {
	list := make([]Estimate, len(c.Value))
	for j := range list {
		list[j] = Estimate{Value: c.Value[j], SE: c.SE[j], DF: math.Inf(1)}
		if c.DF[j] != nil {
			list[j].DF = *c.DF[j]
		}
	}
	return list
}

func pooledCases(t *testing.T) []pooledCase {
	t.Helper()
	var file struct{ Cases []pooledCase }
	readJSON(t, &file, "trials", "pooled.json")
	if len(file.Cases) < 6 {
		t.Fatalf("%d cases", len(file.Cases))
	}
	return file.Cases
}

func TestPool(t *testing.T) {
	t.Parallel()
	const tolerance = 1e-9
	for _, c := range pooledCases(t) {
		list := c.estimates()
		a, p := Agree(list), Pool(list)
		near(t, c.Name+": Q", a.Q, c.Q, tolerance, 1)
		near(t, c.Name+": p", a.P, c.P, tolerance, 0)
		near(t, c.Name+": mean", p.These.Value, c.Mean, tolerance, 1)
		near(t, c.Name+": se of these", p.These.SE, c.TheseSE, tolerance, 0)
		near(t, c.Name+": se of the like", p.Like.SE, c.LikeSE, tolerance, 0)
		near(t, c.Name+": between", p.Between, c.Between, tolerance, 1)
		these, like := p.These.CI95(), p.Like.CI95()
		for i := range 2 {
			near(t, c.Name+": ci of these", these[i], c.TheseCI95[i], tolerance, 1)
			near(t, c.Name+": ci of the like", like[i], c.LikeCI95[i], tolerance, 1)
			if c.BetweenCI95 == nil {
				if !math.IsNaN(p.BetweenCI95[i]) {
					t.Errorf("%s: an interval of the spread between trials, %v", c.Name, p.BetweenCI95)
				}
				continue
			}
			near(t, c.Name+": ci between", p.BetweenCI95[i], c.BetweenCI95[i], tolerance, 1)
		}
	}
}

// Thirteen trials of a vaccine, logarithms of relative risks. Colditz and others
// (1994), JAMA 271:698–702, say that the trials differ; Q 152.23 on 12, variance
// between trials 0.3286 by unweighted means, its interval 0.1197 to 1.1115 by the
// profile of Q: figures given for this set in Viechtbauer (2007), Statistics in
// Medicine 26:37–52, and elsewhere. From memory, rounded as remembered.
func TestPublishedVaccineTrials(t *testing.T) {
	t.Parallel()
	list := pooledCases(t)[0].estimates()
	a, p := Agree(list), Pool(list)
	near(t, "Q", a.Q, 152.233, 5e-4, 0)
	if a.DF[0] != 12 || a.P > 1e-20 {
		t.Errorf("on %v, p %g", a.DF, a.P)
	}
	near(t, "variance between", p.Between*p.Between, 0.3286, 5e-4, 0)
	near(t, "lower", p.BetweenCI95[0]*p.BetweenCI95[0], 0.1197, 5e-4, 0)
	near(t, "upper", p.BetweenCI95[1]*p.BetweenCI95[1], 1.1115, 5e-4, 0)
}

// Two trials, by another route: Student's t with Satterthwaite's degrees of
// freedom squared is the F of two estimates.
func TestTwoTrialsAgreeAsByT(t *testing.T) {
	t.Parallel()
	a, b := Estimate{Value: -0.4, SE: 0.1, DF: 5}, Estimate{Value: 0.5, SE: 0.2, DF: 3}
	v := a.SE*a.SE + b.SE*b.SE
	d := Estimate{Value: a.Value - b.Value, SE: math.Sqrt(v), DF: v * v / (math.Pow(a.SE, 4)/a.DF + math.Pow(b.SE, 4)/b.DF)}
	got := Agree([]Estimate{a, b})
	near(t, "p", got.P, d.P(), 1e-12, 0)
	near(t, "df", got.DF[1], d.DF, 1e-12, 0)
}

func TestAgreeRefuses(t *testing.T) {
	t.Parallel()
	fine := Estimate{Value: 1, SE: 1, DF: 5}
	for _, list := range [][]Estimate{nil, {fine}, {fine, {Value: 1, DF: 5}}, {fine, {Value: math.NaN(), SE: 1, DF: 5}}} {
		if a := Agree(list); a.OK {
			t.Errorf("%v: %+v", list, a)
		}
	}
}
