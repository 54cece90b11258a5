//go:build race

package referee_test

// defaultProblems is few under the race detector, where planning is many times
// slower; the run without it settles them all.
const defaultProblems = 12
