package production

import (
	"ripieno/assemble/fault"
)

// Asset is a file of the production that is not a take: a font, a picture, a
// recorded room.
type Asset struct {
	Path string // relative to the production's folder
	Mark fault.Mark
}
