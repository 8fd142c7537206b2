package analysis

// FindingKind is what a finding may be taken for.
type FindingKind string

// The kinds of finding, in the order in which they are told.
const (
	Caution FindingKind = "caution" // weakens the findings that follow it
	Claim   FindingKind = "claim"   // was planned, and holds after all that was planned is counted
	Lead    FindingKind = "lead"    // stands out, of all that was not planned
	Open    FindingKind = "open"    // was not shown
	Next    FindingKind = "next"    // what to do
)

// FindingKinds lists the kinds in the order in which they are told.
func FindingKinds() []FindingKind { return []FindingKind{Caution, Claim, Lead, Open, Next} }

// Finding is one sentence on what was found.
type Finding struct {
	Kind  FindingKind `json:"kind"`
	About string      `json:"about"` // the topic's name
	Says  string      `json:"says"`

	Topic Topic `json:"-"`
}

// Standing is what something that was tested may be told as where it stands out.
type Standing struct {
	Told     FindingKind // Claim, Lead or Open; "" for what is in no family
	Adjusted *float64    // p with all that was asked beside it counted
}

// Asked counts the questions that were put to a trial's plants.
type Asked struct {
	Planned int // among which claims are held
	Others  int // among which leads are
}

// Topic is what a finding is about; the zero Topic is the result as a whole.
type Topic struct {
	Subject Subject
	Term    Term // of OfTerm
}

// Subject tells what a topic is of.
type Subject uint8

// What a topic can be of.
const (
	Whole Subject = iota // the result as a whole
	OfTerm
	OfEdge
	OfPlace
	OfLosses
	OfElectricity
)

// About is the topic of a term: a treatment, two that depend on one another, a
// covariate or light.
func About(t Term) Topic { return Topic{Subject: OfTerm, Term: t} }
