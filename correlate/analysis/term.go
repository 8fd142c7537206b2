package analysis

import "parstead/correlate/model"

// At is a level of a treatment: an index into Input.Treatments, and one into that
// treatment's Levels.
type At struct{ Treatment, Level int }

// Cell is what plants share: a level of one treatment, or of each of two.
type Cell []At

// Level is the cell's level of a treatment; ok is false where it has none.
func (c Cell) Level(treatment int) (level int, ok bool) {
	for _, at := range c {
		if at.Treatment == treatment {
			return at.Level, true
		}
	}
	return 0, false
}

// Apart counts the treatments in which two cells differ.
func (c Cell) Apart(other Cell) int {
	apart := 0
	for _, at := range c {
		if level, ok := other.Level(at.Treatment); !ok || level != at.Level {
			apart++
		}
	}
	return apart
}

// None stands in a Term for what it has not.
const None = -1

// Term is what an effect is, a comparison is of or a coefficient belongs to; two
// are the same where they are equal.
type Term struct {
	Kind model.Kind
	// A and B are the treatments, by index into Input.Treatments; of a covariate, A
	// is one into Input.Covariates, the outcome's start coming after these.
	A, B int
}

// TreatmentTerm is that of one treatment.
func TreatmentTerm(treatment int) Term { return Term{model.KindTreatment, treatment, None} }

// LightTerm is that of light.
func LightTerm() Term { return Term{model.KindLight, None, None} }

// OfTreatments tells whether the term is of a treatment or of two.
func (t Term) OfTreatments() bool {
	return t.Kind == model.KindTreatment || t.Kind == model.KindInteraction
}

// Holds tells whether a treatment is the term or has a part in it.
func (t Term) Holds(treatment int) bool {
	return t.OfTreatments() && (t.A == treatment || t.B == treatment)
}

// SetsLight tells whether a treatment that acts through light has a part in the
// term, so that it is never adjusted for light.
func (in *Input) SetsLight(t Term) bool {
	for i := range in.Treatments {
		if in.Treatments[i].SetsLight && t.Holds(i) {
			return true
		}
	}
	return false
}
