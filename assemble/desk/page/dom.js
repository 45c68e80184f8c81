// Small helpers for building the page.

// el returns an element with attributes, listeners (on…) and children. Texts are
// texts: nothing is ever read as HTML.
export function el(tag, attributes = {}, ...children) {
	const node = document.createElement(tag);
	for (const [name, value] of Object.entries(attributes)) {
		if (value === undefined || value === null || value === false) continue;
		if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
		else if (name in node && typeof value !== "string") node[name] = value;
		else node.setAttribute(name, value === true ? "" : value);
	}
	node.append(...children.flat().filter((c) => c !== null && c !== undefined && c !== false));
	return node;
}

// fill gives a part of the page new children and keeps the focus on the control that
// has the same data-id, and in a field what is being written there.
export function fill(node, ...children) {
	const had = node.contains(document.activeElement) ? document.activeElement : undefined, id = had?.dataset.id;
	// A field that goes away tells of a change, of what is only half written.
	const hush = (event) => event.stopImmediatePropagation();
	had?.addEventListener("change", hush, { capture: true });
	node.replaceChildren(...children.flat().filter((c) => c !== null && c !== undefined && c !== false));
	had?.removeEventListener("change", hush, { capture: true });
	const next = id && node.querySelector(`[data-id="${CSS.escape(id)}"]`);
	if (!next) return;
	if (next !== had && next.matches("input[type=text], textarea")) {
		if (next.value !== had.value) {
			next.value = had.value;
			// No browser tells of a change that was not typed there.
			next.addEventListener("blur", () => next.dispatchEvent(new Event("change")), { once: true });
		}
		next.setSelectionRange(had.selectionStart, had.selectionEnd);
	}
	next.focus();
}

// mark makes one button of a list of takes the current one.
export function mark(list, take) {
	list.querySelector("[aria-current]")?.removeAttribute("aria-current");
	if (take) list.querySelector(`[data-take="${CSS.escape(take)}"]`)?.setAttribute("aria-current", "true");
}

// pause lets the page draw and answer keys.
export const pause = () => new Promise((done) => {
	const way = new MessageChannel();
	way.port1.onmessage = done;
	way.port2.postMessage(0);
});

// keyCap shows a key as it is printed on it. Screen readers have aria-keyshortcuts.
export const keyCap = (key) => el("kbd", { "aria-hidden": "true" },
	key.replace("Shift+", "⇧ ").replace("ArrowLeft", "←").replace("ArrowRight", "→").replace("ArrowUp", "↑").replace("ArrowDown", "↓").replace("Alt+", "Alt "));

// byId returns an element of the page's frame.
export const byId = (id) => document.getElementById(id);

// colour returns one of the page's named colours, for canvases.
export const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue("--" + name).trim();

// signed writes a number with its sign and a true minus.
export function signed(x, digits) {
	const text = Math.abs(x).toFixed(digits);
	return (Number(text) === 0 ? "" : x < 0 ? "−" : "+") + text;
}

// isTyping reports whether a key belongs to the control that has the focus.
export function isTyping(event) {
	const at = event.target;
	if (at.matches("input:not([type=range]), textarea, select")) return true;
	if (at.matches("input[type=range]")) return event.key.startsWith("Arrow") || /^(Home|End|Page)/.test(event.key);
	return at.matches("button, a, summary") && (event.key === "Enter" || event.key === " ");
}

// Lays a room out as the list of takes and the take in hand, and returns both.
export function listAndBench(root) {
	const list = el("section", { "aria-label": "Takes" });
	const bench = el("section", { class: "bench", "aria-label": "The take in hand" });
	fill(root, el("div", { class: "place" }, list, bench));
	return [list, bench];
}
