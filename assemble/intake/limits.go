package intake

import (
	"ripieno/assemble/intake/limit"
)

// Limits is a set of thresholds; see package limit.
type Limits = limit.Limits

// Threshold is one number that findings depend on.
type Threshold = limit.Threshold

// Standard returns the thresholds as documented.
func Standard() Limits { return limit.Standard() }
