// Where a moment lies in the music: beats as the desk tells them, [{at, measure, number,
// count_in, down}], in order.

// indexAt returns the beat that sounds at a guide time; −1 before the first.
export function indexAt(beats, at) {
	let low = 0, high = beats.length;
	while (low < high) {
		const middle = (low + high) >> 1;
		if (beats[middle].at <= at + 1e-3) low = middle + 1;
		else high = middle;
	}
	return low - 1;
}

// placeOf names the beat that sounds at a guide time, for people.
export function placeOf(beats, at) {
	const b = beats[indexAt(beats, at)];
	if (!b) return "Before the guide";
	return b.count_in ? `Count-in, measure ${b.measure}, beat ${b.number}` : `Measure ${b.measure}, beat ${b.number}`;
}

// stepMeasure returns the guide time of the measure before or behind a moment.
export function stepMeasure(beats, at, by) {
	const downs = beats.filter((b) => b.down);
	const to = by > 0 ? downs.find((b) => b.at > at + 0.05) : downs.findLast((b) => b.at < at - 0.4);
	return to?.at;
}

// clock writes seconds as minutes and seconds.
export function clock(seconds) {
	const s = Math.max(0, seconds), m = Math.floor(s / 60);
	return `${m}:${(s - 60 * m).toFixed(1).padStart(4, "0")}`;
}

// thinned returns those of a ruler's measures that have room for their numbers on so many
// pixels: every one, every second, fifth, tenth and so on.
export function thinned(measures, pixels) {
	const room = Math.max(1, pixels / 28), every = [1, 2, 5, 10, 20, 50, 100, 200, 500].find((n) => measures.length / n <= room) || 1000;
	// Of every second one those that go with the first: 1 and 2 would write on each other.
	return measures.filter((b) => every === 1 || (every === 2 ? b.measure % 2 === 1 : b.measure % every === 0 || b.measure === 1));
}
