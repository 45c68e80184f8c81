// The room of the mix: a strip for each take, heard with what the program does to it.
import { el, fill, keyCap, signed } from "./dom.js";
import { get } from "./server.js";
import { holding } from "./held.js";
import { loudnessOf } from "./mixer.js";
import { buildStrip, leastSend, placeName, put, sendName, showStrip } from "./strip.js";
import { transport } from "./transport.js";

// Steps of the keys, and how long they wait for the next one before they are written.
const gainStep = 0.5, panStep = 5, patience = 500;

// Strips are built so many at a time, so that no key waits for two hundred of them.
const atOnce = 12;

// mixRoom returns the room; desk is what main.js offers.
export function mixRoom(desk) {
	let data, root, hand, waiting, loudness, target, drawn, slice;
	const solo = new Set();
	const views = new Map(); // by take: the parts of the page that change
	let items = new Map(); // by take: the place of a strip
	const whole = [el("i"), el("i")]; // meters of the film, left and right
	const held = holding(); // by take, and "section " and its name
	const plays = transport({ desk, data: () => data, solo, views, whole });

	// strip is the one in hand, which goes by its take: others may come before it.
	const strip = () => hand === undefined ? data?.strips[0] : data?.strips.find((s) => s.take === hand);
	const section = (name) => data.sections.find((s) => s.name === name);

	async function load() {
		const answered = held.asked(), next = await get("mix");
		answered();
		for (const one of next.strips) held.onto(one.take, one);
		held.onto("the film", next);
		for (const group of next.sections) {
			const told = group.gain_db;
			held.onto("section " + group.name, group);
			for (const one of next.strips) if (one.section === group.name) one.group_db += group.gain_db - told;
		}
		// Voices that are the same ones play on.
		const same = data?.id === next.id;
		data = next;
		plays.loaded(same);
		// Controls stay while they are the same ones: a person may be at one of them.
		const shape = JSON.stringify([data.strips.map((s) => [s.take, s.player, s.part, s.section]), data.sections.map((s) => [s.name, s.number]), data.room, data.start, data.length]);
		if (shape !== drawn || !root.firstChild) draw();
		drawn = shape;
		showAll();
		plays.showTime();
		plays.primeSoon();
	}

	function showAll() {
		for (const one of data.strips) show(one);
		for (const group of data.sections) showSection(group);
		showTarget();
		showLoudness();
	}

	// change gives a strip values that are heard at once; they are written when the person
	// has come to rest, and so are one step to undo.
	function change(one, values, words) {
		held.hold(one.take, values);
		Object.assign(one, values);
		plays.set();
		show(one);
		showLoudness();
		desk.tell(words);
	}

	function writeSoon(about, run) {
		clearTimeout(waiting?.timer);
		if (waiting && waiting.about !== about) waiting.run();
		waiting = { about, run: () => { waiting = undefined; run(); } };
		waiting.timer = setTimeout(waiting.run, patience);
	}

	// fields are what of a strip goes by a key of the manifest.
	const fields = { gain: ["gain_db"], pan: ["pan", "pan_set"], mute: ["mute"], send: ["send_db"], low_cut: ["low_cut_hz", "low_cut_set"] };

	// write writes a value, and before it what still waits to be written, unless that is an
	// older value of the same.
	function write(one, key, value) {
		if (waiting?.about === `${key} ${one.take}`) drop();
		flush();
		desk.decide("change", { what: `${key.replace("_", " ")} of ${one.take}`, changes: [{ take: one.take, keys: [key], value }] },
			held.sent(one.take, fields[key]));
	}

	function drop() {
		clearTimeout(waiting.timer);
		waiting = undefined;
	}

	function flush() {
		clearTimeout(waiting?.timer);
		waiting?.run();
	}

	// give writes a value at once, or later.
	function give(one, key, value, later) {
		if (later) writeSoon(`${key} ${one.take}`, () => write(one, key, value));
		else write(one, key, value);
	}

	function setGain(one, db, later) {
		const value = Math.round(Math.max(-60, Math.min(24, db)) * 100) / 100;
		change(one, { gain_db: value }, `${one.take}: gain ${signed(value, 1)} dB.`);
		give(one, "gain", value, later);
	}

	function setPan(one, place, later) {
		const value = Math.round(Math.max(-100, Math.min(100, place)));
		change(one, { pan: value, pan_set: true }, `${one.take}: ${placeName(value)}.`);
		give(one, "pan", value, later);
	}

	function bySeat(one) {
		change(one, { pan: one.pan_auto, pan_set: false }, `${one.take}: ${placeName(one.pan_auto)}, by seat.`);
		write(one, "pan", null);
	}

	function setSend(one, db, later) {
		const value = db <= leastSend ? null : Math.round(db);
		change(one, { send_db: value }, `${one.take}: ${sendName(value)}.`);
		give(one, "send", value === null ? "none" : value, later);
	}

	function setMute(one) {
		change(one, { mute: !one.mute }, `${one.take}: ${one.mute ? "heard" : "muted"}.`);
		write(one, "mute", one.mute ? true : null);
	}

	function setSolo(one) {
		if (!solo.delete(one.take)) solo.add(one.take);
		plays.set();
		show(one);
		desk.tell(solo.size ? `Heard alone: ${[...solo].join(", ")}.` : "All are heard.");
	}

	function setCut(one, text) {
		const words = text.trim().toLowerCase();
		const value = words === "" || words === "auto" ? null : words === "none" || words === "0" ? "none" : Number(words);
		if (Number.isNaN(value)) {
			desk.tell("Write a frequency in Hz, auto or none.");
			show(one);
			return;
		}
		// How high one of its own choice is, the program says when the voice is made.
		change(one, { low_cut_set: value !== null, low_cut_hz: Number(value) || 0 }, `${one.take}: low cut ${value === null ? "auto" : value}.`);
		write(one, "low_cut", value);
	}

	function show(one) {
		const view = views.get(one.take);
		if (view) showStrip(view, one, solo.has(one.take));
	}

	function showLoudness() {
		if (!loudness) return;
		const m = desk.state().measured, about = loudnessOf(data.strips);
		loudness.textContent = m ? (m.integrated_lufs === null ? "The film is silent."
			: `The film has ${signed(m.integrated_lufs, 1)} LUFS, peaks at ${signed(m.true_peak_dbtp ?? 0, 1)} dBTP.`)
			: about === undefined ? "Nothing is heard." : `Not measured yet; heard at about ${signed(data.target_lufs, 1)} LUFS.`;
	}

	// inSight knows which strips are seen: the meters of the others need not move.
	const inSight = new IntersectionObserver((list) => {
		for (const { target, isIntersecting } of list) {
			const view = views.get(target.dataset.take);
			if (view) view.isSeen = isIntersecting;
		}
	});

	// build makes the controls of some strips, and of the others later, a few at a time.
	function build(from = 0) {
		clearTimeout(slice);
		const to = Math.min(data.strips.length, from + atOnce);
		for (let i = from; i < to; i++) reach(i);
		if (to < data.strips.length) slice = setTimeout(() => build(to), 10);
		else root.dataset.drawn = data.id;
	}

	// reach makes the controls of a strip if they are not there yet.
	function reach(i) {
		const one = data.strips[i];
		if (views.has(one.take)) return;
		const view = buildStrip(items.get(one.take), one, data.room > 0, {
			choose: () => { hand = one.take; }, one: () => data.strips[i], change, setGain, setPan, setCut, setSend, setMute, setSolo, bySeat,
		});
		views.set(one.take, view);
		inSight.observe(view.item);
		show(one);
	}

	function draw() {
		views.clear();
		inSight.disconnect();
		delete root.dataset.drawn;
		items = new Map(data.strips.map((s) => [s.take, el("li", { class: "strip", "data-take": s.take, "aria-busy": "true" })]));
		const key = (text, press, does) => el("button", { type: "button", "aria-keyshortcuts": press, "data-id": press, onclick: does }, text, " ", keyCap(press));
		loudness = el("p", { class: "total" });
		const groups = [...new Set(data.strips.map((s) => s.section))];
		// Those first that a person sees first, or is at: the focus stays there.
		build();
		if (strip()) reach(data.strips.indexOf(strip()));
		fill(root,
			el("div", { class: "desk-bar", role: "group", "aria-label": "Playing" }, key("Play", "p", plays.toggle), key("Stop", "s", plays.stop),
				key("Measure back", "[", () => plays.skip(-1)), key("Measure on", "]", () => plays.skip(1)), plays.view()),
			el("section", { class: "whole", "aria-label": "The film" }, el("h2", {}, "The film"),
				el("div", { class: "meter", "aria-hidden": "true" }, whole[0]), el("div", { class: "meter", "aria-hidden": "true" }, whole[1]),
				filmView(),
				el("div", { class: "desk-bar" }, loudness, key("Measure the loudness", "l", () => desk.run("measure")))),
			data.room > 0 ? el("p", { class: "soft" }, data.hall.length ? "You hear the room of the film; Room says how much of it a player gets."
				: "The shared room cannot be heard here; the film has it.") : null,
			groups.map((name) => el("section", { "aria-label": name || "Without section" },
				el("h2", {}, name || "Without section"), name && section(name)?.number >= 0 ? sectionView(name) : null,
				el("ul", { class: "strips" }, data.strips.map((s) => s.section === name ? items.get(s.take) : null)))));
	}

	// setTarget gives the film a loudness, which is heard at once.
	function setTarget(lufs) {
		held.hold("the film", { target_lufs: lufs });
		data.target_lufs = lufs;
		plays.level();
		showTarget();
		showLoudness();
		desk.tell(`The film: ${signed(lufs, 1)} LUFS.`);
	}

	const writeTarget = () => writeSoon("the film", () => desk.decide("change", { what: "loudness of the film",
		changes: [{ take: "", keys: ["mix", "loudness"], value: data.target_lufs }] }, held.sent("the film", ["target_lufs"])));

	function filmView() {
		target = el("input", { type: "range", min: "-36", max: "-6", step: "0.5", "data-id": "target", "aria-label": "Loudness of the film",
			oninput: (e) => setTarget(Number(e.target.value)), onchange: writeTarget });
		return el("label", { class: "desk-bar" }, "Loudness", target, el("span", { class: "total" }));
	}

	function showTarget() {
		if (!target) return;
		put(target, String(data.target_lufs));
		target.setAttribute("aria-valuetext", `${signed(data.target_lufs, 1)} LUFS`);
		target.nextSibling.textContent = `${signed(data.target_lufs, 1)} LUFS`;
	}

	// setSection gives a section a gain, which adds to that of its strips.
	function setSection(group, db) {
		const by = db - group.gain_db;
		held.hold("section " + group.name, { gain_db: db });
		group.gain_db = db;
		for (const s of data.strips) if (s.section === group.name) { s.group_db += by; show(s); }
		plays.set();
		showLoudness();
		showSection(group);
		desk.tell(`${group.name}: gain ${signed(db, 1)} dB.`);
	}

	function writeSection({ name, number, gain_db: value }) {
		writeSoon("section " + name, () => desk.decide("change", { what: `gain of the ${name}`,
			changes: [{ take: "", keys: ["sections", String(number), "gain"], value }] }, held.sent("section " + name, ["gain_db"])));
	}

	function sectionView(name) {
		return el("label", { class: "desk-bar" }, "Gain of the section",
			el("input", { type: "range", min: "-24", max: "12", step: "0.5", "data-id": "section " + name, "aria-label": `Gain of the section ${name}`,
				oninput: (e) => setSection(section(name), Number(e.target.value)), onchange: () => writeSection(section(name)) }),
			el("span", { class: "total" }));
	}

	function showSection(group) {
		const input = root.querySelector(`[data-id="${CSS.escape("section " + group.name)}"]`);
		if (!input) return;
		put(input, String(group.gain_db));
		input.setAttribute("aria-valuetext", `${signed(group.gain_db, 1)} dB`);
		input.nextSibling.textContent = `${signed(group.gain_db, 1)} dB`;
	}

	function step(by) {
		if (!data?.strips.length) return;
		const to = Math.min(data.strips.length - 1, Math.max(0, data.strips.indexOf(strip()) + by));
		const one = data.strips[to];
		hand = one.take;
		reach(to);
		views.get(one.take).gain.focus();
		desk.tell(`${one.player || one.take}: gain ${signed(one.gain_db, 1)} dB, ${placeName(one.pan)}.`);
	}

	const inHand = (does) => () => { if (strip()) does(strip()); };
	const withMix = (does) => () => { if (data) does(); };

	return {
		name: "mix", title: "Mix", needs: "mix",
		isReady: (state) => state.mixed,
		keys: [
			["p", "play, or stop", withMix(plays.toggle)], [" ", "", withMix(plays.toggle)], ["s", "stop", withMix(plays.stop)],
			["[", "a measure back", withMix(() => plays.skip(-1))], ["]", "a measure on", withMix(() => plays.skip(1))],
			["n", "the next strip", () => step(1)], ["b", "the strip before", () => step(-1)],
			["+", "half a decibel louder", inHand((one) => setGain(one, one.gain_db + gainStep, true))],
			["-", "half a decibel softer", inHand((one) => setGain(one, one.gain_db - gainStep, true))],
			["0", "gain 0", inHand((one) => setGain(one, 0))],
			["<", "to the left", inHand((one) => setPan(one, one.pan - panStep, true))],
			[">", "to the right", inHand((one) => setPan(one, one.pan + panStep, true))],
			["m", "mute", inHand(setMute)], ["x", "hear it alone", inHand(setSolo)],
			["l", "measure the loudness of the film", () => desk.run("measure")],
		],
		show(into) {
			root = into;
			fill(root);
		},
		load,
		update: () => { if (data) showLoudness(); },
		flush,
		hide: () => {
			flush();
			plays.stop();
			plays.rest();
			clearTimeout(slice);
		},
	};
}
