package correlate

import "parstead/correlate/model"

// kind is how outcomes of a kind are analysed.
type kind interface {
	// response is the outcome for a model.
	response(s *sample) model.Response

	// analyse fills in the outcome's results; brief only its effects.
	analyse(s *sample, r *OutcomeResult) error
	brief(s *sample, r *OutcomeResult) error

	// dealt goes on with how each random deal was compared; "" where as the data were.
	dealt() string

	// uncorrected is why a slope on light can't be corrected for error; "" if it can.
	uncorrected() string

	// relative tells whether an absolute difference has a meaning as a ratio of means.
	relative() bool
}

// kinds are the kinds of outcome by the name they have in a trial's file.
var kinds = map[Kind]kind{Measure: measure{}, Count: count{}, YesNo: yesNo{}}

func kindOf(k Kind) kind { return kinds[k] }
