// Walks the text of a page as it is shown, and what stands in its fields; see measureText.
(() => {
	// parse gives red, green, blue (0 to 255) and how opaque a colour is.
	const parse = c => {
		const m = c.match(/[\d.]+/g).map(Number);
		return m.length > 3 ? m : [...m, 1];
	};
	// lum is the relative luminance of WCAG 2.1.
	const lum = ([r, g, b]) => [r, g, b].map(v => v / 255)
		.map(v => v <= 0.04045 ? v / 12.92 : Math.pow((v + 0.055) / 1.055, 2.4))
		.reduce((s, v, i) => s + v * [0.2126, 0.7152, 0.0722][i], 0);
	const ratio = (one, other) => {
		const [a, b] = [lum(one), lum(other)];
		return (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
	};
	const ground = e => {
		for (; e; e = e.parentElement) {
			const c = parse(getComputedStyle(e).backgroundColor);
			if (c[3] > 0) return c;
		}
		return [255, 255, 255, 1];
	};
	const bad = [];
	let least = 21, texts = 0, small = 1000;
	const text = (words, e) => {
		const s = getComputedStyle(e), got = ratio(parse(s.color), ground(e));
		texts++;
		least = Math.min(least, got);
		small = Math.min(small, parseFloat(s.fontSize));
		if (got < 4.5) bad.push(got.toFixed(2) + ' ' + words.trim().slice(0, 40));
		if (Number(s.opacity) < 1) bad.push('opacity ' + s.opacity + ' ' + words.trim().slice(0, 40));
	};
	const shown = e => e.getClientRects().length > 0;
	const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
	while (walk.nextNode()) {
		const n = walk.currentNode, e = n.parentElement;
		if (n.textContent.trim() && shown(e) && !e.matches('option')) text(n.textContent, e);
	}
	const fields = 'input:not([type=range], [type=checkbox], [type=radio], [type=file]), select, textarea';
	for (const e of document.querySelectorAll(fields)) {
		if (!shown(e)) continue;
		text(e.value || e.placeholder || e.id || 'field', e);
		const edge = ratio(parse(getComputedStyle(e).borderTopColor), ground(e.parentElement));
		if (edge < 3) bad.push('edge ' + edge.toFixed(2) + ' ' + (e.id || e.dataset.id || e.name));
	}
	return {least, texts, small, bad};
})()
