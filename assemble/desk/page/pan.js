// The place of a sound between two loudspeakers, as package mix/pan of the program has
// it: positions from −1 left to 1 right, factors for each side.

const clamp = (p) => Number.isNaN(p) ? 0 : Math.max(-1, Math.min(1, p));

// gains returns the factors for left and right of a mono sound.
export function gains(law, position) {
	const p = clamp(position);
	if (p === -1) return [1, 0];
	if (p === 1) return [0, 1];
	const left = Math.cos((p + 1) * Math.PI / 4), right = Math.sin((p + 1) * Math.PI / 4);
	if (law === "compromise") return [Math.sqrt(left * (1 - p) / 2), Math.sqrt(right * (1 + p) / 2)];
	if (law === "linear") return [(1 - p) / 2, (1 + p) / 2];
	return [left, right];
}

// stereo returns the factors of a stereo sound, [out][in]: its sides are two points
// round the position, as far apart as the width says.
export function stereo(law, position, width) {
	const p = clamp(position), w = Number.isNaN(width) ? 1 : width;
	const spread = Math.max(-1, Math.min(1, w)) * (1 - Math.abs(p));
	const [ll, rl] = gains(law, p - spread), [lr, rr] = gains(law, p + spread);
	const wide = Math.min(Math.abs(w), 2);
	if (wide <= 1) return [[ll, lr], [rl, rr]];
	const s = Math.sqrt(2 / (1 + wide * wide)), a = s * (1 + wide) / 2, b = s * (1 - wide) / 2;
	return [[ll * a + lr * b, ll * b + lr * a], [rl * a + rr * b, rl * b + rr * a]];
}
