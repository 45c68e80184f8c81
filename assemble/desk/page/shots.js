// The list of shots: on a ruler of measures, whose edges are dragged to beats, and as a list
// with a button for everything.
import { thinned } from "./bars.js";
import { el } from "./dom.js";
import { beatName } from "./wave.js";

// kinds are what a shot may show, and cards what one that shows words may say without
// words of a person's own.
const kinds = ["tutti", "soli", "solo", "pair", "card"], cards = ["title", "credits", "dedication"];

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

	// nearest returns the beat of a list nearest to a guide time.
	function nearest(beats, guide) {
		let best;
		for (const b of beats) if (!best || Math.abs(b.at - guide) < Math.abs(best.at - guide)) best = b;
		return best;
	}

	// wordOf names the beat nearest to a guide time, as the manifest does.
	function wordOf(guide) {
		const best = nearest(data().beats.filter((b) => !b.count_in), guide);
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
			else if (key === "takes") [next.take, next.other] = value ?? [next.take, ""];
			else next[key] = value ?? "";
		}
		return decide(data().shots.with(i, next), what,
			Object.entries(values).map(([key, value]) => ({ take: "", keys: ["shots", String(i), key], value })));
	}

	// plain returns a shot that says no more than it has to.
	const plain = (from, at, show, take = "") => ({ from: at, from_text: from, to: null, to_text: "", show, take, other: "", section: "", text: "", transition: "cut" });

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

	// splitShot makes two of a shot, at the beginning of the measure nearest to its middle, or
	// at the beat where it holds none. Its end becomes that of the second.
	function splitShot(i) {
		const s = data().shots[i], end = endOf(i), middle = (s.from + end) / 2;
		const within = data().beats.filter((b) => !b.count_in && b.at > s.from + 1e-3 && b.at < end - 1e-3), downs = within.filter((b) => b.down);
		const at = nearest(downs.length ? downs : within, middle);
		if (!at || s.show === "card" && !cards.includes(s.text)) {
			desk.tell(at ? "A card with words of your own is split in the file." : "There is no beat for another shot here.");
			return;
		}
		const from = "m" + beatName(at), second = { ...s, from: at.at, from_text: from, transition: "cut" }, value = { from };
		if (s.to !== null) value.to = s.to_text;
		Object.assign(value, { show: s.show }, shownBy(s.show, s));
		const list = data().shots.toSpliced(i, 1, { ...s, to: null, to_text: "" }, second);
		decide(list, `shot ${i + 1} in two`, [...(s.to === null ? [] : [{ take: "", keys: ["shots", String(i), "to"], value: null }]),
			{ take: "", keys: ["shots", "+" + (i + 1)], value }]);
		desk.tell(`Shot ${i + 2} begins at ${from}.`);
	}

	// endOf returns the guide time at which a shot ends.
	const endOf = (i) => data().shots[i].to ?? data().shots[i + 1]?.from ?? data().end;

	// shiftShot moves a whole shot by beats: its beginning, and its end, be it its own or
	// where the next one begins. The last one keeps the end of the film.
	function shiftShot(i, by) {
		const s = data().shots[i], before = data().shots[i - 1], next = data().shots[i + 1];
		const from = stepBeat(s.from, by), own = s.to !== null, to = own || next ? stepBeat(own ? s.to : next.from, by) : undefined;
		const least = before.to ?? before.from + 2e-3, most = own ? next?.from ?? data().end : next ? endOf(i + 1) - 2e-3 : data().end;
		const begins = beatAt(from), ends = to ? beatAt(to) : data().end;
		if (!by || begins < least - 1e-3 || ends > most + 1e-3 || begins >= ends - 1e-3) {
			if (by) desk.tell(`Shot ${i + 1} cannot be moved there.`);
			return draw(true);
		}
		const list = data().shots.with(i, { ...s, from: begins, from_text: from, ...(own ? { to: ends, to_text: to } : {}) });
		const changes = [{ take: "", keys: ["shots", String(i), "from"], value: from }];
		if (own) changes.push({ take: "", keys: ["shots", String(i), "to"], value: to });
		else if (next) {
			list[i + 1] = { ...next, from: ends, from_text: to };
			changes.push({ take: "", keys: ["shots", String(i + 1), "from"], value: to });
		}
		decide(list, `place of shot ${i + 1}`, changes);
		desk.tell(`Shot ${i + 1} is from ${from} to ${to || "the end"}.`);
	}

	const removeShot = (i) => decide(data().shots.toSpliced(i, 1), `shot ${i + 1}`, [{ take: "", keys: ["shots", String(i)], value: null }]);

	// shownBy returns what a shot of a kind says of who is seen, by a shot that may have said
	// it before: values of the manifest.
	function shownBy(show, { take, other, section, text }) {
		const first = take || inHand().take;
		return { solo: { take: first }, soli: { section: section || inHand().section || data().takes.find((t) => t.section)?.section },
			pair: { takes: [first, other || data().takes.find((t) => t.take !== first)?.take] }, card: { text: text || "title" } }[show] || {};
	}

	function changeKind(i, show) {
		const says = { take: null, takes: null, section: null, text: null, ...shownBy(show, data().shots[i]) };
		if (show === "soli" && !says.section) desk.tell("No take has a section.");
		else if (show === "pair" && !says.takes[1]) desk.tell("There is no other take.");
		else return writeShot(i, { show, ...says }, `shot ${i + 1}`);
		draw(true);
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

	// listedAt returns which shot of the list the film shows at a guide time. Shots of the film
	// begin with a frame, up to one before what the list says.
	const listedAt = (guide) => data().shots.findLastIndex((s) => s.from <= guide + 0.05);

	function shotView(s, i) {
		const pick = (label, id, value, options, does) => el("label", {}, el("span", { class: "sr" }, label),
			el("select", { "data-id": `${id} ${i}`, onchange: (e) => does(e.target.value) },
				options.map((o) => el("option", { value: o, selected: o === value }, o))));
		const button = (text, label, id, does) => el("button", { type: "button", "data-id": `${id} ${i}`, "aria-label": `${label} shot ${i + 1}`, onclick: does }, text);
		const sections = [...new Set(data().takes.map((t) => t.section).filter(Boolean))];
		const who = (label, id, value, does) => pick(label, id, value, data().takes.map((t) => t.take), does);
		const part = (words, ...buttons) => el("span", { class: "part" }, el("span", { class: "soft" }, words), ...buttons);
		return el("li", { "aria-current": i === listedAt(shown().from) ? "true" : null },
			button(s.from_text, "Look at", "see", () => look(s.from, s.from_text, s.show)),
			pick(`What shot ${i + 1} shows`, "kind", s.show, kinds, (v) => changeKind(i, v)),
			s.show === "solo" ? who(`Who is seen in shot ${i + 1}`, "who", s.take, (v) => writeShot(i, { take: v }, `shot ${i + 1}`)) : null,
			s.show === "pair" ? [who(`Who is seen at the left in shot ${i + 1}`, "left", s.take, (v) => writeShot(i, { takes: [v, s.other] }, `shot ${i + 1}`)),
				who(`Who is seen at the right in shot ${i + 1}`, "right", s.other, (v) => writeShot(i, { takes: [s.take, v] }, `shot ${i + 1}`))] : null,
			s.show === "soli" ? pick(`Section of shot ${i + 1}`, "section", s.section, sections, (v) => writeShot(i, { section: v }, `shot ${i + 1}`)) : null,
			s.show === "card" ? pick(`What the card of shot ${i + 1} says`, "text", s.text, cards.includes(s.text) ? cards : [s.text, ...cards],
				(v) => writeShot(i, { text: v }, `shot ${i + 1}`)) : null,
			i > 0 ? pick(`Transition into shot ${i + 1}`, "into", s.transition, ["cut", "dissolve", "move"], (v) => writeShot(i, { transition: v }, `transition of shot ${i + 1}`)) : null,
			i > 0 ? part("begins", button("◂", "A beat earlier:", "earlier", () => edge(i, -1)), button("▸", "A beat later:", "later", () => edge(i, 1))) : null,
			s.to === null ? null : part(`ends at ${s.to_text}`, button("◂", "The end a beat earlier:", "end-earlier", () => edge(i, -1, true)),
				button("▸", "The end a beat later:", "end-later", () => edge(i, 1, true))),
			i > 0 ? part("all of it", button("◂", "All of it a beat earlier:", "all-earlier", () => shiftShot(i, -1)),
				button("▸", "All of it a beat later:", "all-later", () => shiftShot(i, 1))) : null,
			el("span", { class: "part" }, button("Split", "Make two of", "split", () => splitShot(i)), button("Add", "Add a shot within", "add", () => addShot(i)),
				data().shots.length > 1 && i > 0 ? button("Remove", "Remove", "remove", () => removeShot(i)) : null));
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

	// blockOf is a shot on the ruler: pressed it is looked at, dragged it is moved by beats,
	// whole. The first one stays where the film begins.
	function blockOf(bar, i, text) {
		const s = data().shots[i], whole = data().end - data().start;
		let held;
		// beatsTo returns how many beats the pointer has gone from where it was pressed.
		const beatsTo = (e) => {
			const beats = data().beats.filter((b) => !b.count_in), to = s.from + (shareOf(bar, e) - held) * whole;
			return beats.indexOf(nearest(beats, to)) - beats.indexOf(nearest(beats, s.from));
		};
		const node = el("div", { class: i > 0 ? "block moves" : "block", "data-shot": String(i), title: text,
			onpointerdown: (e) => { node.setPointerCapture(e.pointerId); held = shareOf(bar, e); },
			onpointermove: (e) => {
				if (held === undefined || i === 0) return;
				node.style.transform = `translateX(${(shareOf(bar, e) - held) * bar.clientWidth}px)`;
				desk.tell(`Shot ${i + 1} begins at ${stepBeat(s.from, beatsTo(e))}.`);
			},
			onpointerup: (e) => {
				const by = i > 0 && held !== undefined ? beatsTo(e) : 0;
				held = undefined;
				if (by) shiftShot(i, by);
				else look(s.from, s.from_text, s.show);
			},
			onpointercancel: () => draw(true) }, el("span", {}, text));
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
			const block = blockOf(bar, i, [s.show, s.take, s.other, s.section, s.text].filter(Boolean).join(" "));
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
			el("button", { type: "button", "data-id": "add 0", onclick: () => addShot(0) }, "Add a shot"))];

	// loaded takes over that a list was loaded, as it was of a version.
	function loaded(of) {
		if (!held.has("shots", "shots")) version = of;
	}

	return { view, wordOf, loaded };
}
