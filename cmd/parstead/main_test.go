package main

import (
	"os"
	"testing"
)

// asProgram, in the environment, makes this test binary the program itself.
const asProgram = "PARSTEAD_TEST_AS_PROGRAM"

func TestMain(m *testing.M) {
	if os.Getenv(asProgram) != "" {
		main()
	}
	status := m.Run()
	if dir, err := sharedDir(); err == nil {
		_ = os.RemoveAll(dir)
	}
	os.Exit(status)
}
