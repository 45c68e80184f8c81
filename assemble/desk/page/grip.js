// What fingers and the mouse do to a still: one drags what is kept of it, two bring it
// nearer or farther. Crops are {x, y, zoom}, in shares of the picture.

const least = 1, most = 8;

const clip = (v, low, high) => Math.round(Math.max(low, Math.min(high, v)) * 1000) / 1000;

// grips returns the handlers of a still. now returns the crop as it is, undefined where
// nothing can be moved; preview shows one at once; keep takes it when the last finger
// has left; letGo ends without.
export function grips({ now, preview, keep, letGo }) {
	const fingers = new Map();
	let start, crop;

	// hold notes where the fingers are and what is kept, from where all moves count.
	function hold(box) {
		start = fingers.size ? { was: crop ?? now(), ...middle(), box } : undefined;
	}

	function middle() {
		const list = [...fingers.values()];
		const x = list.reduce((sum, f) => sum + f.x, 0) / list.length, y = list.reduce((sum, f) => sum + f.y, 0) / list.length;
		return { x, y, spread: list.length > 1 ? Math.hypot(list[0].x - list[1].x, list[0].y - list[1].y) : 0 };
	}

	function follow() {
		const { x, y, spread } = middle(), { was, box } = start;
		const nearer = start.spread > 10 && spread > 10 ? spread / start.spread : 1;
		crop = { x: clip(was.x + (x - start.x) / box.width, 0, 1), y: clip(was.y + (y - start.y) / box.height, 0, 1),
			zoom: clip(was.zoom * nearer, least, most) };
		preview(crop);
	}

	const at = (event) => ({ x: event.clientX, y: event.clientY });

	return {
		onpointerdown(event) {
			if (!now() || fingers.size >= 2) return;
			event.currentTarget.setPointerCapture(event.pointerId);
			fingers.set(event.pointerId, at(event));
			hold(event.currentTarget.getBoundingClientRect());
		},
		onpointermove(event) {
			if (!fingers.has(event.pointerId)) return;
			fingers.set(event.pointerId, at(event));
			follow();
		},
		onpointerup(event) {
			if (!fingers.has(event.pointerId)) return;
			fingers.set(event.pointerId, at(event));
			if (crop) follow(); // the last way, of which nobody told
			const { box } = start, done = crop;
			fingers.delete(event.pointerId);
			hold(box);
			if (fingers.size || !done) return;
			crop = undefined;
			keep(done);
		},
		onpointercancel() {
			fingers.clear();
			start = crop = undefined;
			letGo();
		},
		// Two fingers on a pad reach the page as a wheel with the control key.
		onwheel(event) {
			const was = event.ctrlKey && now();
			if (!was) return;
			event.preventDefault();
			keep({ ...was, zoom: clip(was.zoom * Math.exp(-event.deltaY / 200), least, most) });
		},
	};
}
