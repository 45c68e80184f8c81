package plan

// PublicTake returns what is made calls the take of the tile: "" when it is
// withheld.
func (t Tile) PublicTake() string {
	if t.Absent == Withheld {
		return ""
	}
	return t.Take
}
