package model

import "math"

// Studentized gives each row's externally studentised residual: its residual
// over a standard error that leaves the row itself out, so that it follows
// Student's t on DF − 1 degrees of freedom. It is NaN for a row that alone
// determines a coefficient, and for all where a row less leaves none to spare.
//
//	tᵢ = eᵢ / √(s₍ᵢ₎² (1 − hᵢ)),  s₍ᵢ₎² = (RSS − eᵢ²/(1 − hᵢ)) / (DF − 1)
//
// Belsley, Kuh, Welsch (1980), Regression Diagnostics, section 2.1.
func (f *Fit) Studentized() []float64 {
	t := make([]float64, f.Design.N)
	for i, e := range f.Residuals {
		t[i] = math.NaN()
		if f.Alone(i) || f.DF < 2 || f.Exact {
			continue
		}
		own := e * e / (1 - f.Hat[i])
		if rest := f.RSS - own; rest > 1e-12*f.RSS {
			t[i] = e / math.Sqrt((1-f.Hat[i])*rest/float64(f.DF-1))
		}
	}
	return t
}

// Suspect is a row that lies further off than chance lets one row of so many.
type Suspect struct {
	Row         int
	Studentized float64
}

// Suspects lists the rows beyond the Bonferroni 5 % point of the externally
// studentised residual.
func (f *Fit) Suspects() []Suspect {
	if f.DF < 2 {
		return nil
	}
	limit := tQuantile(0.05/float64(f.Design.N), float64(f.DF-1))
	var list []Suspect
	for i, t := range f.Studentized() {
		if math.Abs(t) > limit {
			list = append(list, Suspect{i, t})
		}
	}
	return list
}
