package model

// Kind tells the part that an effect plays in a model.
type Kind uint8

// The kinds of effect, in the order of a model's columns.
const (
	KindIntercept Kind = iota
	KindBlock
	KindBin
	KindTreatment
	KindInteraction
	KindCovariate
	KindLight
)

// Term tells an effect from every other: two are the same where they are equal.
type Term struct {
	Kind Kind
	A    string // "intercept", "block", "bin", "light", or the name of a treatment or covariate
	B    string // of an interaction, its second treatment
}

// LightTerm is that of light.
var LightTerm = Term{Kind: KindLight, A: "light"}

// Name is the term's name for people, which is not its identity: a treatment may
// be called "A × B" or "light".
func (t Term) Name() string {
	if t.B == "" {
		return t.A
	}
	return Times(t.A, t.B)
}

// Times is the name of an interaction.
func Times(a, b string) string { return a + " × " + b }
