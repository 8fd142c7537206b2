package field

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"parstead/light"
)

// Surface is the log of the light at each position of a bin's grid, up to a
// constant that Relative fixes.
type Surface struct {
	Method      string    // "kriging", "plane" or "mean": how the readings were smoothed
	Log         []float64 // by light.Bin.Index
	Positions   int       // surveyed ones
	Readings    int
	Noise       float64 // standard deviation of one reading, natural log
	LeaveOneOut float64 // root mean square error of predicting each surveyed position from the others, natural log
	Range       float64 // of the correlation, cm; 0 without kriging

	positions []light.Position
	at        []predicted // the positions
	sill      float64
	rho       func(a, b light.Position) float64
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

func (g *grouped) pitch() float64 { return min(g.bin.PitchRows, g.bin.PitchColumns) }

func (g *grouped) diagonal() float64 {
	return math.Hypot(g.bin.PitchRows*float64(g.bin.Rows), g.bin.PitchColumns*float64(g.bin.Columns))
}

// spreads tells whether the surveyed positions span rows and columns.
func (g *grouped) spreads() bool {
	rows, columns := map[int]bool{}, map[int]bool{}
	for _, p := range g.positions {
		rows[p.Row], columns[p.Column] = true, true
	}
	return len(rows) > 1 && len(columns) > 1
}

// trend is the trend's terms at the cells, a column each: a constant, for degree 2
// the two coordinates, and the meters' gains against the first.
func (g *grouped) trend(cells []light.Position, meter []int, degree int) [][]float64 {
	f := make([][]float64, 1+degree+len(g.meters)-1)
	for c := range f {
		f[c] = make([]float64, len(cells))
	}
	center := site{g.bin.PitchColumns * float64(g.bin.Columns+1) / 2, g.bin.PitchRows * float64(g.bin.Rows+1) / 2}
	scale := math.Max(center.x, center.y)
	for i, c := range cells {
		s := g.site(c)
		f[0][i] = 1
		if degree == 2 {
			f[1][i] = (s.x - center.x) / scale
			f[2][i] = (s.y - center.y) / scale
		}
		if meter != nil && meter[i] > 0 {
			f[degree+meter[i]][i] = 1
		}
	}
	return f
}

// lattice is a correlation between the cells of a grid: only the distances in
// rows and columns matter, so that each is worked out once.
type lattice struct {
	columns  int
	distance []float64
	rho      []float64
	phi      float64
}

func (g *grouped) lattice() lattice {
	l := lattice{columns: g.bin.Columns, rho: make([]float64, g.bin.Rows*g.bin.Columns)}
	for i := range l.rho {
		cell := site{float64(i%l.columns) * g.bin.PitchColumns, float64(i/l.columns) * g.bin.PitchRows}
		l.distance = append(l.distance, cell.distance(site{}))
	}
	return l
}

// setRange makes the correlation that of a range.
func (l *lattice) setRange(phi float64) {
	if l.phi == phi {
		return
	}
	l.phi = phi
	for i, h := range l.distance {
		l.rho[i] = matern(h, phi)
	}
}

func (l *lattice) between(a, b light.Position) float64 {
	return l.rho[abs(a.Row-b.Row)*l.columns+abs(a.Column-b.Column)]
}

// krige smooths by kriging, with or without a plane beneath: whichever predicts
// left-out positions better. Range, sill and nugget are by restricted maximum
// likelihood: a coarse grid finds the right hill, and a climb its top.
func (g *grouped) krige() (*Surface, error) {
	var starts []point
	for _, phi := range []float64{2 * g.pitch(), 5 * g.pitch(), g.diagonal()} {
		for _, lambda := range []float64{0.02, 0.3, 5} {
			starts = append(starts, pointOf(phi, lambda))
		}
	}
	level, err := g.summit(0, starts, firstStep)
	if err != nil {
		return nil, err
	}
	if g.spreads() { // the hill with a plane lies near
		phi, lambda := level.top.phi(), level.top.lambda()
		tilted, err := g.summit(2, []point{level.top, pointOf(phi/2, 2*lambda)}, lastStep)
		if err == nil && rms(tilted.leaveOneOut()) < rms(level.leaveOneOut()) {
			return tilted.surface(), nil
		}
	}
	return level.surface(), nil
}

// many values are so many that half of them show where the hill is.
const many = 32

// summit finds the most likely range and nugget over a trend of one degree, from
// the best of the starts. Where there are many values that can't be folded it
// climbs on half of them, and takes the last steps on all: a value's share in the
// time grows with the square of their number.
func (g *grouped) summit(degree int, starts []point, step float64) (*fitted, error) {
	if len(g.cells) > many && !g.complete() {
		if top, value := climb(newLikelihood(g.half(), degree).at, starts, step); !math.IsInf(value, -1) {
			starts, step = []point{top}, lastStep
		}
	}
	top, value := climb(newLikelihood(g, degree).at, starts, step)
	if math.IsInf(value, -1) {
		return nil, errSingular
	}
	return g.fitted(degree, top)
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

// fitted is a survey kriged with the range and nugget at a point.
type fitted struct {
	*kriged
	g       *grouped
	degree  int
	top     point
	lattice lattice
}

func (g *grouped) fitted(degree int, top point) (*fitted, error) {
	f := g.trend(g.cells, g.meter, degree)
	x := &fitted{newKriged(len(g.cells), len(f)), g, degree, top, g.lattice()}
	x.lattice.setRange(top.phi())
	nugget := make([]float64, len(g.cells))
	for i, n := range g.n {
		nugget[i] = top.lambda() / n
	}
	return x, x.solve(f, g.mean, nugget, func(i, j int) float64 { return x.lattice.between(g.cells[i], g.cells[j]) })
}

func (x *fitted) surface() *Surface {
	lambda := x.top.lambda()
	_, sill := x.g.restricted(float64(x.n-x.p), x.quad, x.logDet, lambda)
	s := x.g.surface(x.kriged, x.degree, sill, x.lattice.between)
	s.Method, s.Noise, s.Range = "kriging", math.Sqrt(lambda*sill), x.top.phi()
	return s
}

// regress fits a plane or a mean by least squares. What positions differ by
// beyond it belongs to each alone, with the variance that the residuals show
// beyond the meter's noise: a surveyed position keeps its own part of it, the
// less the noisier its readings, and the others have it as an error.
func (g *grouped) regress(method string, degree int) (*Surface, error) {
	f := g.trend(g.cells, g.meter, degree)
	n, p := len(g.cells), len(f)
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
	positions := g.bin.Positions()
	s := &Surface{
		Positions: len(g.positions), Readings: g.readings, LeaveOneOut: rms(k.leaveOneOut()),
		positions: positions, at: make([]predicted, len(positions)), sill: sill, rho: rho,
	}
	trend := g.trend(positions, nil, degree)
	f0, cross := make([]float64, len(trend)), make([]float64, len(g.cells))
	for i, p := range positions {
		for c := range f0 {
			f0[c] = trend[c][i]
		}
		if j := slices.Index(g.cells, p); j >= 0 {
			s.at[i] = k.predictAt(j, f0)
		} else {
			for j, c := range g.cells {
				cross[j] = rho(c, p)
			}
			s.at[i] = k.predict(f0, cross)
		}
		s.Log = append(s.Log, s.at[i].mean)
	}
	return s
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
	slope := make([]float64, m) // of ln reference by each Log
	for i, w := range weights {
		slope[i] = w * math.Exp(s.Log[i]) / reference
	}
	along := s.along(slope)
	variance := dot(slope, along)
	ratio, relativeError = make([]float64, m), make([]float64, m)
	for i := range m {
		ratio[i] = math.Exp(s.Log[i]) / reference
		v := s.Covariance(i, i) - 2*along[i] + variance
		relativeError[i] = math.Sqrt(max(v, 0))
	}
	return ratio, relativeError, reference
}

// Covariance is that of the errors of Log at two positions, by light.Bin.Index.
func (s *Surface) Covariance(i, j int) float64 {
	return s.sill * s.at[i].covariance(s.at[j], s.rho(s.positions[i], s.positions[j]))
}

// along is the covariance of the error at each position with that of the sum of
// all, weighted.
func (s *Surface) along(weights []float64) []float64 {
	sum := predicted{a: make([]float64, len(s.at[0].a)), d: make([]float64, len(s.at[0].d))}
	rho := make([]float64, len(s.at))
	for j, w := range weights {
		if w == 0 {
			continue
		}
		addScaled(sum.a, w, s.at[j].a)
		addScaled(sum.d, w, s.at[j].d)
		for i, p := range s.positions {
			rho[i] += w * s.rho(p, s.positions[j])
		}
	}
	for i, x := range s.at {
		rho[i] = s.sill * x.covariance(sum, rho[i])
	}
	return rho
}
