//go:build !unix

package mix

import "time"

// cpuTime is not known here.
func cpuTime() time.Duration { return 0 }
