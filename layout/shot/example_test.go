package shot_test

import (
	"fmt"

	"ripieno/layout/shot"
)

// A title, then everybody, with a solo in between.
func ExampleResolve() {
	seats := []shot.Seat{{Take: "oboe-1", Section: "winds"}, {Take: "cello-1", Section: "strings"}}
	shots, err := shot.Resolve(900, seats, []shot.Want{
		{From: 0, To: 90, Show: shot.Card, Text: "title"},
		{From: 300, To: 450, Show: shot.Solo, Take: "oboe-1", Labels: true},
	}, true)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, s := range shots {
		fmt.Println(s.From, s.To, s.Show, s.Takes)
	}
	// Output:
	// 0 90 card []
	// 90 300 tutti [oboe-1 cello-1]
	// 300 450 solo [oboe-1]
	// 450 900 tutti [oboe-1 cello-1]
}
