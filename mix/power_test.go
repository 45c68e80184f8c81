package mix

import "testing"

// Meyer's order of forte sound powers (from memory): brass over woodwind over
// strings; a part nobody knows is as loud as the middle.
func TestPowerGainOrdersFamilies(t *testing.T) {
	order := []string{"Viola", "Violin 2", "Cello", "Flute", "Oboe", "Alto sax", "Trumpet", "Tuba"}
	for i := 1; i < len(order); i++ {
		if a, b := PowerGain(order[i-1]), PowerGain(order[i]); a > b {
			t.Errorf("%s %+.1f dB, %s %+.1f dB: the wrong way round", order[i-1], float64(a), order[i], float64(b))
		}
	}
	for _, part := range order {
		if g := PowerGain(part); g < -mostPower || g > mostPower {
			t.Errorf("%s: %+.1f dB", part, float64(g))
		}
	}
	if PowerGain("Violin") == PowerGain("Tuba") || PowerGain("theremin") != 0 || PowerGain("") != 0 {
		t.Error("powers are not told apart, or an unknown part has one")
	}
}

func TestGivesBass(t *testing.T) {
	for part, want := range map[string]bool{"Double bass": true, "Tuba": true, "Bass trombone": true, "Bass": false,
		"Cello": false, "Bassoon": false, "": false} {
		if GivesBass(part) != want {
			t.Errorf("%q gives the bass: %v, want %v", part, !want, want)
		}
	}
}
