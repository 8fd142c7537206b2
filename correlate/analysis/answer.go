package analysis

// Sentence is one sentence of the answer.
type Sentence struct {
	Lead string // what it is on: "Losses"
	Says string
}

func (s Sentence) String() string {
	if s.Lead == "" {
		return s.Says
	}
	return s.Lead + ": " + s.Says
}

// MarshalText writes the sentence, also into JSON.
func (s Sentence) MarshalText() ([]byte, error) { return []byte(s.String()), nil }

// UnmarshalText reads a sentence as a whole: what it is on can't be told apart any more.
func (s *Sentence) UnmarshalText(text []byte) error {
	*s = Sentence{Says: string(text)}
	return nil
}
