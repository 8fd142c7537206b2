package page

import "net/http"

// Result is what the harvest says, in sentences. Nothing of it is told before every
// plant has its line in the sheet of the harvest.
type Result struct {
	*State
	In     bool
	Out    int // plants without a line
	Answer []string
}

func (s *Server) showResult(w http.ResponseWriter, r *http.Request) {
	x, err := s.config.Result(r.Context())
	if err != nil {
		s.config.Log.Error("result not shown", "error", err)
		say(w, http.StatusServiceUnavailable, "The result can't be shown now: "+err.Error())
		return
	}
	v := newView(x.State)
	s.answer(w, "result", func(nonce string) any {
		return struct {
			*Result
			Lost  []Standing
			Nonce string
		}{x, v.Lost, nonce}
	})
}
