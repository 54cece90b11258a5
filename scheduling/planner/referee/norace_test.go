//go:build !race

package referee_test

const defaultProblems = 60
