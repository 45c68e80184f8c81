package audition

import (
	"ripieno/assemble/plan"
	"ripieno/assemble/production"
)

// Music is what a film is about: its beats, and who is in it. Times are seconds of
// guide time.
type Music struct {
	Beats  []Beat    `json:"beats"`
	Zero   float64   `json:"zero"` // guide time of the film's beginning
	Start  float64   `json:"start"`
	End    float64   `json:"end"` // guide time of the film's end
	People []Playing `json:"people"`
}

// Playing is who plays a take.
type Playing struct {
	Take   string `json:"take"`
	Player string `json:"player"`
	Part   string `json:"part"`
}

// MusicOf returns the music of a production, which needs nothing to be made. It fails
// for a film that would be empty, or longer than a plan allows.
func MusicOf(man *production.Production) (Music, error) {
	line, err := plan.NewTimeline(man)
	if err != nil {
		return Music{}, err
	}
	m := Music{Beats: beats(man.Tempo), Zero: line.GuideAtZero(), Start: man.Tempo.Start(),
		End: line.GuideAtZero() + line.Duration(), People: []Playing{}}
	for _, t := range man.Takes {
		if !t.IsWithheld() {
			m.People = append(m.People, Playing{t.Name, t.Player, t.Part})
		}
	}
	return m, nil
}
