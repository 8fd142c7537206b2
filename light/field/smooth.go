package field

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"parstead/light"
)

// Surface is the log of the light at each position of a bin's grid, up to a
// constant that Relative fixes.
type Surface struct {
	Method      string        // "kriging", "plane" or "mean": how the readings were smoothed
	Log         []float64     // by light.Bin.Index
	Covariance  *mat.SymDense // of the errors of Log
	Positions   int           // surveyed ones
	Readings    int
	Noise       float64 // standard deviation of one reading, natural log
	LeaveOneOut float64 // root mean square error of predicting each surveyed position from the others, natural log
	Range       float64 // of the correlation, cm; 0 without kriging
}

// meterNoise is the standard deviation of a handheld reading that is assumed
// where repeats don't show it, as a share: hand, height and tilt (common
// practice, no source).
const meterNoise = 0.06

// leastNoise keeps two meters' readings of one position from contradicting.
const leastNoise = 1e-7

// leastSpread is by how much positions are taken to differ at least beyond a
// plane or a mean through few readings, as a share (common practice, no source).
const leastSpread = 0.06

// repeatsNeeded is how many repeats beyond the first show the meter's noise.
const repeatsNeeded = 5

// Fewer surveyed positions than these carry no more than a plane, or a mean.
const (
	kriging = 10
	plane   = 6
	least   = 2
)

// ErrShowsNothing is the reason for not fitting a survey; the error says why.
var ErrShowsNothing = errors.New("the survey shows nothing")

// Smooth fits the surface to a survey of one bin. Readings of several meters
// get a gain each. It returns ErrShowsNothing, wrapped with the reason, where a
// survey can't carry a map.
func Smooth(bin light.Bin, walk []Reading) (*Surface, error) {
	g := group(bin, walk)
	if len(g.positions) < least {
		return nil, fmt.Errorf("%w: only %d position of bin %s has a usable reading; survey at least %d", ErrShowsNothing, len(g.positions), bin.Name, plane)
	}
	switch n := len(g.positions); {
	case n >= kriging:
		if s, err := g.krige(); err == nil {
			return s, nil
		}
		fallthrough
	case n >= plane && g.spreads():
		if s, err := g.regress("plane", 2); err == nil {
			return s, nil
		}
		fallthrough
	default:
		return g.regress("mean", 0)
	}
}

// logRatio is the logarithm of the reading over the reference, or over 1.
func logRatio(r Reading) float64 {
	if math.IsNaN(r.Reference) {
		return math.Log(r.PPFD)
	}
	return math.Log(r.PPFD / r.Reference)
}

// grouped is a survey with repeats of one meter at one position averaged.
type grouped struct {
	bin       light.Bin
	positions []light.Position // distinct
	meters    []string         // in order of appearance; gains are against the first
	cells     []light.Position // one a mean
	meter     []int
	mean      []float64
	n         []float64
	within    float64 // sum of squares of repeats about their means
	df        float64 // its degrees of freedom
	readings  int
}

func group(bin light.Bin, walk []Reading) *grouped {
	if bin.PitchRows <= 0 || bin.PitchColumns <= 0 { // not said: distances count in cells
		bin.PitchRows, bin.PitchColumns = 1, 1
	}
	g := &grouped{bin: bin, readings: len(walk)}
	type key struct {
		position light.Position
		meter    string
	}
	values := map[key][]float64{}
	var order []key
	for _, r := range walk {
		k := key{r.Position, r.Meter}
		if values[k] == nil {
			order = append(order, k)
		}
		values[k] = append(values[k], logRatio(r))
		if !slices.Contains(g.positions, r.Position) {
			g.positions = append(g.positions, r.Position)
		}
		if !slices.Contains(g.meters, r.Meter) {
			g.meters = append(g.meters, r.Meter)
		}
	}
	for _, k := range order {
		sum := 0.0
		for _, v := range values[k] {
			sum += v
		}
		n := float64(len(values[k]))
		mean := sum / n
		for _, v := range values[k] {
			g.within += (v - mean) * (v - mean)
		}
		g.df += n - 1
		g.cells = append(g.cells, k.position)
		g.meter = append(g.meter, slices.Index(g.meters, k.meter))
		g.mean, g.n = append(g.mean, mean), append(g.n, n)
	}
	return g
}

func (g *grouped) site(p light.Position) site {
	return site{float64(p.Column) * g.bin.PitchColumns, float64(p.Row) * g.bin.PitchRows}
}

// spreads tells whether the surveyed positions span rows and columns.
func (g *grouped) spreads() bool {
	rows, columns := map[int]bool{}, map[int]bool{}
	for _, p := range g.positions {
		rows[p.Row], columns[p.Column] = true, true
	}
	return len(rows) > 1 && len(columns) > 1
}

// trend is the matrix of the trend's terms at the cells (a constant, and for
// degree 2 the two coordinates), and the meters' gains against the first.
func (g *grouped) trend(cells []light.Position, meter []int, degree int) *mat.Dense {
	p := 1 + degree + len(g.meters) - 1
	f := mat.NewDense(len(cells), p, nil)
	center := site{g.bin.PitchColumns * float64(g.bin.Columns+1) / 2, g.bin.PitchRows * float64(g.bin.Rows+1) / 2}
	scale := math.Max(center.x, center.y)
	for i, c := range cells {
		s := g.site(c)
		f.Set(i, 0, 1)
		if degree == 2 {
			f.Set(i, 1, (s.x-center.x)/scale)
			f.Set(i, 2, (s.y-center.y)/scale)
		}
		if meter != nil && meter[i] > 0 {
			f.Set(i, degree+meter[i], 1)
		}
	}
	return f
}

// lattice is a correlation between the cells of a grid: only the distances in
// rows and columns matter, so that each is worked out once.
type lattice struct {
	columns int
	rho     []float64
}

func (g *grouped) lattice(c correlation) lattice {
	l := lattice{g.bin.Columns, make([]float64, g.bin.Rows*g.bin.Columns)}
	for i := range l.rho {
		l.rho[i] = c(site{}.distance(site{float64(i%l.columns) * g.bin.PitchColumns, float64(i/l.columns) * g.bin.PitchRows}))
	}
	return l
}

func (l lattice) between(a, b light.Position) float64 {
	rows, columns := a.Row-b.Row, a.Column-b.Column
	return l.rho[max(rows, -rows)*l.columns+max(columns, -columns)]
}

// krige smooths by kriging, with or without a plane beneath: whichever predicts
// left-out positions better. Range, sill and nugget are by restricted maximum
// likelihood: a coarse grid finds the right hill, on half of the values where
// there are many, and a climb on all of them its top.
func (g *grouped) krige() (*Surface, error) {
	pitch := math.Min(g.bin.PitchRows, g.bin.PitchColumns)
	diagonal := math.Hypot(g.bin.PitchRows*float64(g.bin.Rows), g.bin.PitchColumns*float64(g.bin.Columns))
	bounds := bounds{
		low:  point{math.Log(pitch / 2), -math.Log(lambdaBound)},
		high: point{math.Log(4 * diagonal), math.Log(lambdaBound)},
	}
	var starts []point
	for _, phi := range []float64{2 * pitch, 5 * pitch, diagonal} {
		for _, lambda := range []float64{0.02, 0.3, 5} {
			starts = append(starts, point{math.Log(phi), math.Log(lambda)})
		}
	}
	top, level, err := g.summit(0, starts, firstStep, bounds)
	if err != nil {
		return nil, err
	}
	if g.spreads() { // the hill with a plane lies near
		x, tilted, err := g.summit(2, []point{top, {top[0] - math.Ln2, top[1] + math.Ln2}}, firstStep/2, bounds)
		if err == nil && rms(tilted.leaveOneOut()) < rms(level.leaveOneOut()) {
			return g.kriged(tilted, 2, x), nil
		}
	}
	return g.kriged(level, 0, top), nil
}

// lambdaBound bounds the search: a nugget from a thousandth of the sill to a
// thousand sills; the range from half a pitch to four times the grid's diagonal.
const lambdaBound = 1e3

// many values are so many that half of them show where the hill is.
const many = 32

// summit climbs on half of the values where there are many, and takes the last
// steps on all of them: a value's share in the time grows with the square of
// their number.
func (g *grouped) summit(degree int, starts []point, step float64, bounds bounds) (point, *kriged, error) {
	if len(g.cells) > many {
		if top, _, err := g.half().climb(degree, starts, step, bounds); err == nil {
			starts, step = []point{top}, lastStep
		}
	}
	return g.climb(degree, starts, step, bounds)
}

// half is every other value of the survey.
func (g *grouped) half() *grouped {
	h := *g
	h.cells, h.meter, h.mean, h.n = nil, nil, nil, nil
	for i := 0; i < len(g.cells); i += 2 {
		h.cells, h.meter = append(h.cells, g.cells[i]), append(h.meter, g.meter[i])
		h.mean, h.n = append(h.mean, g.mean[i]), append(h.n, g.n[i])
	}
	return &h
}

// climb finds the most likely range and nugget (their logarithms) over a trend of
// one degree, from the best of the starts, and solves for them.
func (g *grouped) climb(degree int, starts []point, step float64, bounds bounds) (point, *kriged, error) {
	f := g.trend(g.cells, g.meter, degree)
	n, p := f.Dims()
	if n <= p {
		return point{}, nil, errSingular
	}
	k := newKriged(n, p)
	nugget := make([]float64, n)
	solve := func(x point) error {
		l, lambda := g.lattice(matern(math.Exp(x[0]))), math.Exp(x[1])
		for i, repeats := range g.n {
			nugget[i] = lambda / repeats
		}
		return k.solve(f, g.mean, nugget, func(i, j int) float64 { return l.between(g.cells[i], g.cells[j]) })
	}
	top, value := climb(func(x point) float64 {
		if solve(x) != nil {
			return math.Inf(-1)
		}
		loglik, _ := k.restricted(g.within, g.df, math.Exp(x[1]))
		return loglik
	}, starts, step, bounds)
	if math.IsInf(value, -1) {
		return top, nil, errSingular
	}
	return top, k, solve(top)
}

// kriged is the surface by kriging with the range and nugget at a point.
func (g *grouped) kriged(k *kriged, degree int, x point) *Surface {
	lambda := math.Exp(x[1])
	_, sill := k.restricted(g.within, g.df, lambda)
	s := g.surface(k, degree, sill, g.lattice(matern(math.Exp(x[0]))).between)
	s.Method, s.Noise, s.Range = "kriging", math.Sqrt(lambda*sill), math.Exp(x[0])
	return s
}

// regress fits a plane or a mean by least squares. What positions differ by
// beyond it belongs to each alone, with the variance that the residuals show
// beyond the meter's noise: a surveyed position keeps its own part of it, the
// less the noisier its readings, and the others have it as an error.
func (g *grouped) regress(method string, degree int) (*Surface, error) {
	f := g.trend(g.cells, g.meter, degree)
	n, p := f.Dims()
	if n <= p {
		return nil, fmt.Errorf("%w: %d positions of bin %s for %d unknowns; survey more positions with one meter", ErrShowsNothing, n, g.bin.Name, p)
	}
	noise := meterNoise
	if g.df >= repeatsNeeded {
		noise = max(math.Sqrt(g.within/g.df), leastNoise)
	}
	k := newKriged(n, p)
	alone := func(a, b light.Position) float64 {
		if a == b {
			return 1
		}
		return 0
	}
	apart := func(i, j int) float64 { // as if every mean were of its own position
		if i == j {
			return 1
		}
		return 0
	}
	if err := k.solve(f, g.mean, make([]float64, n), apart); err != nil {
		return nil, err
	}
	repeats := 0.0 // mean of 1 over the number of readings
	for _, m := range g.n {
		repeats += 1 / m / float64(n)
	}
	sill := max(k.quad/float64(n-p)-noise*noise*repeats, leastSpread*leastSpread)
	nugget := make([]float64, n)
	for i, m := range g.n {
		nugget[i] = noise * noise / m / sill
	}
	if err := k.solve(f, g.mean, nugget, func(i, j int) float64 { return alone(g.cells[i], g.cells[j]) }); err != nil {
		return nil, err
	}
	s := g.surface(k, degree, sill, alone)
	s.Method, s.Noise = method, noise
	return s, nil
}

// surface predicts all positions of the bin.
func (g *grouped) surface(k *kriged, degree int, sill float64, rho func(a, b light.Position) float64) *Surface {
	targets := g.bin.Positions()
	cross := mat.NewDense(len(g.cells), len(targets), nil)
	among := mat.NewSymDense(len(targets), nil)
	for j, t := range targets {
		for i, c := range g.cells {
			cross.Set(i, j, rho(c, t))
		}
		for i := range j + 1 {
			among.SetSym(i, j, rho(targets[i], t))
		}
	}
	mean, cov := k.predict(g.trend(targets, nil, degree), cross, among)
	cov.ScaleSym(sill, cov)
	return &Surface{
		Log: mean, Covariance: cov, Positions: len(g.positions), Readings: g.readings, LeaveOneOut: rms(k.leaveOneOut()),
	}
}

func rms(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v * v
	}
	return math.Sqrt(sum / float64(len(x)))
}

// Relative scales the surface so that its weighted mean over the reference
// positions is 1: weights by light.Bin.Index, summing to 1. It gives the ratio
// at each position and its standard error, relative, with the reference's own
// error and their correlation counted (to first order); and that mean itself.
func (s *Surface) Relative(weights []float64) (ratio, relativeError []float64, reference float64) {
	m := len(s.Log)
	if len(weights) != m {
		panic("field: weights do not match the grid")
	}
	for i, w := range weights {
		reference += w * math.Exp(s.Log[i])
	}
	slope := mat.NewVecDense(m, nil) // of ln reference by each Log
	for i, w := range weights {
		slope.SetVec(i, w*math.Exp(s.Log[i])/reference)
	}
	var cw mat.VecDense
	cw.MulVec(s.Covariance, slope)
	variance := mat.Dot(slope, &cw)
	ratio, relativeError = make([]float64, m), make([]float64, m)
	for i := range m {
		ratio[i] = math.Exp(s.Log[i]) / reference
		v := s.Covariance.At(i, i) - 2*cw.AtVec(i) + variance
		relativeError[i] = math.Sqrt(max(v, 0))
	}
	return ratio, relativeError, reference
}
