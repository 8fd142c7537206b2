//go:build worlds

package worlds

import "math"

// Vec is a point or a direction, in metres. X runs along the columns, Y along
// the rows, Z upward from the plane on which the plants are measured.
type Vec struct{ X, Y, Z float64 }

func (a Vec) Add(b Vec) Vec           { return Vec{a.X + b.X, a.Y + b.Y, a.Z + b.Z} }
func (a Vec) Sub(b Vec) Vec           { return Vec{a.X - b.X, a.Y - b.Y, a.Z - b.Z} }
func (a Vec) Scale(k float64) Vec     { return Vec{a.X * k, a.Y * k, a.Z * k} }
func (a Vec) Dot(b Vec) float64       { return a.X*b.X + a.Y*b.Y + a.Z*b.Z }
func (a Vec) Len() float64            { return math.Sqrt(a.Dot(a)) }
func (a Vec) Unit() Vec               { return a.Scale(1 / a.Len()) }
func rad(deg float64) float64         { return deg * math.Pi / 180 }
func lerp(a, b Vec, t float64) Vec    { return a.Add(b.Sub(a).Scale(t)) }
func tilted(deg, azDeg float64) Vec   { return leaning(1, deg, azDeg) }
func hangDown(deg, azDeg float64) Vec { return leaning(-1, deg, azDeg) }

// leaning gives the unit vector that is straight up (+1) or down (-1) and then
// leaned by deg toward the azimuth azDeg, counted from +X toward +Y.
func leaning(z, deg, azDeg float64) Vec {
	s, c := math.Sincos(rad(deg))
	sa, ca := math.Sincos(rad(azDeg))
	return Vec{s * ca, s * sa, z * c}
}
