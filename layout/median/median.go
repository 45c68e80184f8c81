// Package median has the one median of the picture's measurements: the upper of the two
// middle values, so that the result is always a value that was measured. It imports
// nothing; mix/robust has that of the sound, which layout does not know.
package median

import (
	"cmp"
	"slices"
)

// Of returns the middle value of v, the upper one where two are in the middle. v stays as
// it is and must not be empty. NaN counts as lower than every number.
func Of[T cmp.Ordered](v []T) T {
	s := slices.Clone(v)
	slices.Sort(s)
	return s[len(s)/2]
}
