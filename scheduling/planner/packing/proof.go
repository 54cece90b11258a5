package packing

import (
	"cmp"
	"slices"
)

// sortByLength orders columns by their number of entries.
func sortByLength(cols []int, ptr []int) {
	slices.SortStableFunc(cols, func(a, b int) int { return cmp.Compare(ptr[a+1]-ptr[a], ptr[b+1]-ptr[b]) })
}
