package analysis

// Variance is how far bins or plants differ by themselves, on the analysed scale.
type Variance struct {
	Of   string      `json:"of"` // bin or plant
	SD   *float64    `json:"sd"`
	CI95 *[2]float64 `json:"ci95,omitempty"`
}

// Unlike is a covariate or light in which the levels of a treatment are unlike.
type Unlike struct {
	Treatment int // into Input.Treatments
	In        Term
	Levels    []int // of the treatment
	Means     []float64
	P         *float64 // nil where whole bins got the treatment
}

// LikeLight is a covariate that goes with light within bins.
type LikeLight struct {
	Covariate Term
	VIF       float64 // by how much it inflates the variance of light's slope
}

// LevelSlopes are the slopes of a covariate or of light at each level of a treatment,
// on the analysed scale.
type LevelSlopes struct {
	Of        Term
	Treatment int     // into Input.Treatments
	P         float64 // that they are one
	Asked     int     // of how many treatments this was asked
	Slopes    []LevelSlope
}

// LevelSlope is a slope at one level. Its interval and p hold for all levels at once.
type LevelSlope struct {
	Level    int
	Slope    float64
	CI95     [2]float64
	P        float64
	Standing Standing
}
