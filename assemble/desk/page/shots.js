// The list of shots: on a ruler of measures, whose edges are dragged to beats, and as a list
// with a button for everything.
import { thinned } from "./bars.js";
import { el } from "./dom.js";
import { beatName } from "./wave.js";

// shotList returns what draws the list and names beats. data is what is planned, held what
// was set, inHand the take in hand, shown the shot that is looked at; look shows another
// one, draw the list anew, and width is that of the ruler in pixels.
//
// A shot goes by its number. The list is changed here at once, so that the number is of
// what one sees, and what is sent is of the version of the list that one sees.
export function shotList({ desk, held, data, inHand, shown, look, draw, width }) {
	let version, refusals = 0;

	// show shows a list from now on, and returns what is to be called when it was answered.
	function show(list) {
		data().shots = list;
		held.hold("shots", { shots: list });
		draw();
		return held.sent("shots", ["shots"]);
	}

	// decide shows a list and writes what makes it, unless one before it was refused: then
	// numbers are no longer what they were.
	function decide(list, what, changes) {
		const before = refusals, was = data().shots, sent = show(list);
		return desk.decide("change", () => before === refusals && { version, what, changes }, (now) => {
			sent();
			if (now) version = now.version;
			else if (before === refusals) {
				refusals++;
				show(was)();
			}
		});
	}

	// wordOf names the beat nearest to a guide time, as the manifest does.
	function wordOf(guide) {
		let best;
		for (const b of data().beats) if (!b.count_in && (!best || Math.abs(b.at - guide) < Math.abs(best.at - guide))) best = b;
		return best && "m" + beatName(best);
	}

	// stepBeat returns the beat so many beats on from a guide time.
	function stepBeat(guide, by) {
		const beats = data().beats.filter((b) => !b.count_in);
		const near = beats.findIndex((b) => b.at >= guide - 1e-3);
		const b = beats[Math.max(0, Math.min(beats.length - 1, (near < 0 ? beats.length : near) + by))];
		return b && "m" + beatName(b);
	}

	// writeShot gives a shot values, null for none. With an edge goes its guide time.
	function writeShot(i, values, what) {
		const next = { ...data().shots[i] };
		for (const [key, value] of Object.entries(values)) {
			if (key === "from" || key === "to") Object.assign(next, { [key]: beatAt(value), [key + "_text"]: value });
			else next[key] = value ?? "";
		}
		return decide(data().shots.with(i, next), what,
			Object.entries(values).map(([key, value]) => ({ take: "", keys: ["shots", String(i), key], value })));
	}

	// plain returns a shot that says no more than it has to.
	const plain = (from, at, show, take = "") => ({ from: at, from_text: from, to: null, to_text: "", show, take, section: "", text: "", transition: "cut" });

	// addShot begins a shot at the beginning of the measure behind shot i's first, or of
	// the piece where there are none.
	async function addShot(i) {
		const solo = inHand().take;
		if (!data().shots.length) {
			await decide([plain("start", data().start, "tutti"), plain("m1", beatAt("m1"), "solo", solo)], "a new shot",
				[{ take: "", keys: ["shots"], value: [{ from: "start", show: "tutti" }, { from: "m1", show: "solo", take: solo }] }]);
			return;
		}
		const s = data().shots[i], downs = data().beats.filter((b) => b.down && !b.count_in && b.at > s.from + 1e-3), next = data().shots[i + 1];
		const at = downs.find((b) => !next || b.at < next.from - 1e-3);
		if (!at) {
			desk.tell("There is no measure for another shot here.");
			return;
		}
		const from = "m" + beatName(at);
		await decide(data().shots.toSpliced(i + 1, 0, plain(from, at.at, "solo", solo)), "a new shot",
			[{ take: "", keys: ["shots", "+" + (i + 1)], value: { from, show: "solo", take: solo } }]);
	}

	const removeShot = (i) => decide(data().shots.toSpliced(i, 1), `shot ${i + 1}`, [{ take: "", keys: ["shots", String(i)], value: null }]);

	function changeKind(i, show) {
		const section = inHand().section || data().takes.find((t) => t.section)?.section;
		if (show === "soli" && !section) {
			desk.tell("No take has a section.");
			return;
		}
		writeShot(i, { show, take: show === "solo" ? data().shots[i].take || inHand().take : null, section: show === "soli" ? data().shots[i].section || section : null },
			`shot ${i + 1}`);
	}

	// edge moves the beginning of a shot by beats, or an end that it has of its own. The
	// first one begins where the film does.
	function edge(i, by, end) {
		const s = data().shots[i], word = stepBeat(end ? s.to : s.from, by);
		if (word && word !== (end ? s.to_text : s.from_text)) moveEdge(i, end, word);
	}

	// moveEdge writes an edge, unless nothing would be left of the shot.
	function moveEdge(i, end, word) {
		const s = data().shots[i], at = beatAt(word), next = data().shots[i + 1]?.from ?? data().end;
		if (end ? at <= s.from + 1e-3 : at >= (s.to ?? next) - 1e-3) {
			desk.tell(`Nothing would be left of shot ${i + 1}.`);
			return draw(true);
		}
		writeShot(i, { [end ? "to" : "from"]: word }, `${end ? "end" : "beginning"} of shot ${i + 1}`);
		desk.tell(`Shot ${i + 1} ${end ? "ends" : "begins"} at ${word}.`);
	}

	const beatAt = (word) => data().beats.find((b) => !b.count_in && "m" + beatName(b) === word)?.at ?? data().end;

	function shotView(s, i) {
		const simple = ["tutti", "soli", "solo"].includes(s.show);
		const pick = (label, id, value, options, does) => el("label", {}, el("span", { class: "sr" }, label),
			el("select", { "data-id": `${id} ${i}`, onchange: (e) => does(e.target.value) },
				options.map((o) => el("option", { value: o, selected: o === value }, o))));
		const button = (text, label, id, does) => el("button", { type: "button", "data-id": `${id} ${i}`, "aria-label": `${label} shot ${i + 1}`, onclick: does }, text);
		const sections = [...new Set(data().takes.map((t) => t.section).filter(Boolean))];
		return el("li", { "aria-current": s.from <= shown().from + 1e-3 && shown().from < (data().shots[i + 1]?.from ?? Infinity) - 1e-3 ? "true" : null },
			button(s.from_text, "Look at", "see", () => look(s.from, s.from_text, s.show)),
			i > 0 ? [button("◂", "A beat earlier:", "earlier", () => edge(i, -1)), button("▸", "A beat later:", "later", () => edge(i, 1))] : null,
			s.to === null ? null : [el("span", {}, `to ${s.to_text}`), button("◂", "The end a beat earlier:", "end-earlier", () => edge(i, -1, true)),
				button("▸", "The end a beat later:", "end-later", () => edge(i, 1, true))],
			simple ? pick(`What shot ${i + 1} shows`, "kind", s.show, ["tutti", "soli", "solo"], (v) => changeKind(i, v)) : el("span", {}, `${s.show} ${s.text}`),
			s.show === "solo" ? pick(`Who is seen in shot ${i + 1}`, "who", s.take, data().takes.map((t) => t.take), (v) => writeShot(i, { take: v }, `shot ${i + 1}`)) : null,
			s.show === "soli" ? pick(`Section of shot ${i + 1}`, "section", s.section, sections, (v) => writeShot(i, { section: v }, `shot ${i + 1}`)) : null,
			i > 0 ? pick(`Transition into shot ${i + 1}`, "into", s.transition, ["cut", "dissolve", "move"], (v) => writeShot(i, { transition: v }, `transition of shot ${i + 1}`)) : null,
			button("Split", "Add a shot within", "split", () => addShot(i)),
			data().shots.length > 1 && i > 0 ? button("Remove", "Remove", "remove", () => removeShot(i)) : null);
	}

	// shareOf returns where a pointer is on the ruler, from 0 to 1.
	function shareOf(bar, event) {
		const box = bar.getBoundingClientRect();
		return (event.clientX - box.left) / box.width;
	}

	// grip is an edge of a shot on the ruler, which is dragged to a beat.
	function grip(bar, i, end, at) {
		const whole = data().end - data().start, wordAt = (e) => wordOf(data().start + shareOf(bar, e) * whole);
		const node = el("div", { class: end ? "grip end" : "grip", [end ? "data-end" : "data-grip"]: String(i),
			onpointerdown: (e) => { node.setPointerCapture(e.pointerId); node.dataset.held = "1"; },
			onpointermove: (e) => {
				if (!node.dataset.held) return;
				node.style.left = `${100 * shareOf(bar, e)}%`;
				desk.tell(`Shot ${i + 1} ${end ? "ends" : "begins"} at ${wordAt(e)}.`);
			},
			onpointerup: (e) => {
				delete node.dataset.held;
				const s = data().shots[i], word = wordAt(e);
				if (word !== (end ? s.to_text : s.from_text)) moveEdge(i, end, word);
				else draw(true);
			},
			onpointercancel: () => draw(true) });
		node.style.left = `${100 * (at - data().start) / whole}%`;
		return node;
	}

	// ruler shows the shots over the measures; their edges are dragged to beats.
	function ruler() {
		const whole = data().end - data().start, bar = el("div", { class: "ruler" });
		for (const b of thinned(data().beats.filter((one) => one.down && !one.count_in), width())) {
			const line = el("i", { "aria-hidden": "true" }, String(b.measure));
			line.style.left = `${100 * (b.at - data().start) / whole}%`;
			bar.append(line);
		}
		data().shots.forEach((s, i) => {
			const to = s.to ?? data().shots[i + 1]?.from ?? data().end;
			const block = el("div", { class: "block", "data-shot": String(i) }, el("span", {}, s.show + (s.take ? " " + s.take : s.section ? " " + s.section : "")));
			block.style.left = `${100 * (s.from - data().start) / whole}%`;
			block.style.width = `${100 * (to - s.from) / whole}%`;
			bar.append(block);
			if (i > 0) bar.append(grip(bar, i, false, s.from));
			if (s.to !== null) bar.append(grip(bar, i, true, s.to));
		});
		return bar;
	}

	// view returns the ruler and the list.
	const view = () => [ruler(), data().shots.length ? el("ol", { class: "shots" }, data().shots.map(shotView))
		: el("p", {}, "Everybody is shown from start to end. ",
			el("button", { type: "button", "data-id": "split 0", onclick: () => addShot(0) }, "Add a shot"))];

	// loaded takes over that a list was loaded, as it was of a version.
	function loaded(of) {
		if (!held.has("shots", "shots")) version = of;
	}

	return { view, wordOf, loaded };
}
