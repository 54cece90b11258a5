//go:build race

package planner_test

// raceDetector says that the tests run many times slower.
const raceDetector = true
