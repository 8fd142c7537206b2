package correlate

import "parstead/correlate/analysis"

// Types of package analysis, under the names by which callers know them.
type (
	Kind             = analysis.Kind
	Scale            = analysis.Scale
	SetPer           = analysis.SetPer
	Status           = analysis.Status
	Factor           = analysis.Factor
	Column           = analysis.Column
	Treatment        = analysis.Treatment
	Light            = analysis.Light
	Difference       = analysis.Difference
	Outcome          = analysis.Outcome
	Input            = analysis.Input
	Result           = analysis.Result
	OutcomeResult    = analysis.OutcomeResult
	PlantPoint       = analysis.PlantPoint
	CurveBand        = analysis.CurveBand
	Group            = analysis.Group
	Effect           = analysis.Effect
	Coefficient      = analysis.Coefficient
	Contrast         = analysis.Contrast
	Comparison       = analysis.Comparison
	Slope            = analysis.Slope
	LightResult      = analysis.LightResult
	CorrectedSlope   = analysis.CorrectedSlope
	LightCurve       = analysis.LightCurve
	Parameter        = analysis.Parameter
	Prediction       = analysis.Prediction
	NegativeBinomial = analysis.NegativeBinomial
	Exact            = analysis.Exact
	Position         = analysis.Position
	Edge             = analysis.Edge
	Bend             = analysis.Bend
	Unlike           = analysis.Unlike
	LevelSlopes      = analysis.LevelSlopes
	LevelSlope       = analysis.LevelSlope
	Standing         = analysis.Standing
	UnequalSpread    = analysis.UnequalSpread
	WelchTest        = analysis.WelchTest
	PairSpread       = analysis.PairSpread
	Suspect          = analysis.Suspect
	Check            = analysis.Check
	Losses           = analysis.Losses
	Correlation      = analysis.Correlation
	NextTrial        = analysis.NextTrial
	Need             = analysis.Need
	Planning         = analysis.Planning
	Electricity      = analysis.Electricity
	Draw             = analysis.Draw
	BinCurrent       = analysis.BinCurrent
	LevelCurrent     = analysis.LevelCurrent
	ElectricityGain  = analysis.ElectricityGain
	Finding          = analysis.Finding
	FindingKind      = analysis.FindingKind
)

// Its constants.
const (
	Measure      = analysis.Measure
	Count        = analysis.Count
	YesNo        = analysis.YesNo
	Natural      = analysis.Natural
	Log          = analysis.Log
	PerPlant     = analysis.PerPlant
	PerBin       = analysis.PerBin
	PerReservoir = analysis.PerReservoir
	Given        = analysis.Given
	Blank        = analysis.Blank
	Harvested    = analysis.Harvested
	Lost         = analysis.Lost
	Withdrawn    = analysis.Withdrawn
	Accident     = analysis.Accident
	Larger       = analysis.Larger
	Smaller      = analysis.Smaller
	Equivalent   = analysis.Equivalent
	CantTell     = analysis.CantTell
	Bounded      = analysis.Bounded
	Unbounded    = analysis.Unbounded
	Loss         = analysis.Loss
	Caution      = analysis.Caution
	Claim        = analysis.Claim
	Lead         = analysis.Lead
	Open         = analysis.Open
	Next         = analysis.Next
)
