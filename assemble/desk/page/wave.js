// Drawings of sound over the beats of the guide.
import { colour } from "./dom.js";

// drawSheet draws the guide above and a take below, over beats as bar lines. view is
// {from, to} in guide time, at is the moment that is judged.
export function drawSheet(canvas, view, at, beats, guide, take) {
	const dots = window.devicePixelRatio || 1;
	const width = canvas.clientWidth, height = canvas.clientHeight;
	canvas.width = Math.max(1, Math.round(width * dots));
	canvas.height = Math.max(1, Math.round(height * dots));
	const c = canvas.getContext("2d");
	c.scale(dots, dots);
	const x = (guideTime) => (guideTime - view.from) / (view.to - view.from) * width;
	c.fillStyle = colour("field");
	c.fillRect(0, 0, width, height);
	c.fillStyle = colour("cue");
	c.fillRect(x(at) - 2, 0, 4, height);
	c.font = "12px system-ui, sans-serif";
	for (const b of beats) {
		if (b.at < view.from || b.at > view.to) continue;
		c.fillStyle = colour(b.down ? "ink" : "edge");
		c.fillRect(x(b.at) - 0.5, 0, b.down ? 2 : 1, height);
		c.fillStyle = colour("soft");
		c.fillText(beatName(b), x(b.at) + 4, 12);
	}
	if (guide) drawWave(c, guide, x, view, 18, height * 0.3 - 18, colour("edge"));
	if (take) drawWave(c, take, x, view, height * 0.3, height * 0.7, colour("accent"));
}

// beatName is what a bar line is called: count-in measures have a c before them.
export function beatName(b) {
	if (b.cue) return "cue";
	return (b.count_in ? "c" : "") + b.measure + (b.number > 1 ? "." + b.number : "");
}

// drawWave draws a piece of sound: {samples, time(i)} with guide time of its samples.
function drawWave(c, piece, x, view, top, high, ink) {
	const { samples, first, step } = piece;
	let peak = 1e-9;
	for (const v of samples) if (Math.abs(v) > peak) peak = Math.abs(v);
	c.fillStyle = ink;
	const width = x(view.to);
	for (let px = 0; px < width; px++) {
		const from = view.from + px / width * (view.to - view.from);
		const to = view.from + (px + 1) / width * (view.to - view.from);
		const i = Math.max(0, Math.floor((from - first) / step));
		const j = Math.min(samples.length, Math.max(i + 1, Math.ceil((to - first) / step)));
		let low = 0, up = 0;
		for (let k = i; k < j; k++) {
			if (samples[k] < low) low = samples[k];
			if (samples[k] > up) up = samples[k];
		}
		const y0 = top + high / 2 * (1 - up / peak), y1 = top + high / 2 * (1 - low / peak);
		c.fillRect(px, y0, 1, Math.max(1, y1 - y0));
	}
}

// loudestNear returns the guide time of the largest sample within reach of a moment;
// undefined in silence.
export function loudestNear(piece, at, reach) {
	let best = 0, where;
	for (let i = 0; i < piece.samples.length; i++) {
		const t = piece.first + i * piece.step;
		if (Math.abs(t - at) <= reach && Math.abs(piece.samples[i]) > best) {
			best = Math.abs(piece.samples[i]);
			where = t;
		}
	}
	return where;
}
