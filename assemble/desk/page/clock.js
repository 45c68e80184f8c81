// Where a recording lies on guide time: guide = offset + t·(1 + drift·1e-6), as
// everywhere in the program. A place is {offset, drift} in seconds and ppm.

// ratio returns how fast guide time runs against the file's clock.
export const ratio = (place) => 1 + place.drift * 1e-6;

// fileTime returns the time of the file at a guide time.
export const fileTime = (place, guide) => (guide - place.offset) / ratio(place);

// microseconds rounds seconds to what is worth writing down.
const microseconds = (x) => Math.round(x * 1e6) / 1e6;

// moved returns a place whose sound lies later by some seconds.
export const moved = (place, by) => ({ offset: microseconds(place.offset + by), drift: place.drift });

// bent returns a place whose sound lies later by some seconds at one guide time and
// stays where it is at another: a clock that runs otherwise. It returns undefined
// where the two are one.
export function bent(place, by, at, anchor) {
	const span = fileTime(place, at - by) - fileTime(place, anchor);
	const now = fileTime(place, at) - fileTime(place, anchor);
	if (Math.abs(span) < 1 || now === 0) return undefined;
	const wanted = (at - anchor + by) / now;
	const drift = Math.round((wanted - 1) * 1e8) / 100; // hundredths of a ppm: 0.003 ms in five minutes
	const fixed = fileTime(place, anchor);
	return { offset: microseconds(anchor - fixed * (1 + drift * 1e-6)), drift };
}
