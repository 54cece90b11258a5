//go:build race

package api_test

// raceDetector says that the tests run many times slower.
const raceDetector = true
