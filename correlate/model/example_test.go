package model_test

import (
	"fmt"

	"parstead/correlate/model"
)

// Dried weights of plants, a control and two treatments (Dobson 1983, table
// 7.1): the first four of each group.
func ExampleCompare() {
	weight := []float64{4.17, 5.58, 5.18, 6.11, 4.81, 4.17, 4.41, 3.59, 6.31, 5.12, 5.54, 5.50}
	group := model.Factor{
		Name: "group", Levels: []string{"control", "first", "second"},
		Of: []int{0, 0, 0, 0, 1, 1, 1, 1, 2, 2, 2, 2},
	}
	design, err := model.NewDesign(len(weight), model.Terms{Treatments: []model.Treatment{{Factor: group, SetPer: model.PerPlant}}})
	if err != nil {
		fmt.Println(err)
		return
	}
	fit, err := design.Fit(weight)
	if err != nil {
		fmt.Println(err)
		return
	}
	tests, err := fit.Partial()
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, test := range tests {
		fmt.Printf("%s: F = %.3f on %g and %g, p = %.4f\n", test.Name(), test.Value, test.DF[0], test.DF[1], test.P)
	}
	family, err := model.Compare(fit, design, design.Families()[0])
	if err != nil {
		fmt.Println(err)
		return
	}
	for i, mean := range family.Adjusted {
		fmt.Printf("%-8s %.4f %s\n", design.Levels(family.Cells[i]), mean.Value, family.Letters[i])
	}
	for _, pair := range family.Pairs {
		fmt.Printf("%s − %s: %.4f (%.3f to %.3f), p = %.3f\n", design.Levels(family.Cells[pair.A]), design.Levels(family.Cells[pair.B]), pair.Value, pair.CI95[0], pair.CI95[1], pair.P)
	}
	// Output:
	// group: F = 5.145 on 2 and 9, p = 0.0324
	// control  5.2600 ab
	// first    4.2450 b
	// second   5.6175 a
	// first − control: -1.0150 (-2.254 to 0.224), p = 0.109
	// second − control: 0.3575 (-0.882 to 1.597), p = 0.709
	// second − first: 1.3725 (0.133 to 2.612), p = 0.031
}
