// The room of the mix: a strip for each take, heard with what the program does to it.
import { el, fill, keyCap, signed } from "./dom.js";
import { get } from "./server.js";
import { audio } from "./sound.js";
import { loudnessOf, Mixer } from "./mixer.js";
import { buildStrip, leastSend, placeName, put, sendName, showStrip } from "./strip.js";
import { beatName } from "./wave.js";

// Steps of the keys, and how long they wait for the next one before they are written.
const gainStep = 0.5, panStep = 5, patience = 500;

// meterPause is how long meters rest between two frames, in milliseconds: they are drawn
// some twelve times a second, which leaves the page's time to what a person does.
const meterPause = 66;

// Strips are built so many at a time, so that no key waits for two hundred of them.
const atOnce = 12;

const factor = (db) => Math.pow(10, db / 20);

// mixRoom returns the room; desk is what main.js offers.
export function mixRoom(desk) {
	let data, root, mixer, at, hand = 0, frame, waiting, priming, loudness, drawn, slice;
	const solo = new Set();
	const views = new Map(); // by take: the parts of the page that change
	let items = new Map(); // by take: the place of a strip
	const whole = [el("i"), el("i")]; // meters of the film, left and right

	const strip = () => data?.strips[hand];
	const section = (name) => data.sections.find((s) => s.name === name);

	async function load() {
		const next = await get("mix");
		// Voices that are the same ones play on.
		const same = data?.id === next.id;
		data = next;
		at ??= data.start;
		if (!same) {
			mixer?.close();
			mixer = undefined;
		} else {
			mixer?.set(data.strips, solo);
		}
		hand = Math.min(hand, data.strips.length - 1);
		// Controls stay while they are the same ones: a person may be at one of them.
		const shape = JSON.stringify([data.strips.map((s) => [s.take, s.player, s.part, s.section]), data.sections.map((s) => s.name), data.room]);
		if (shape !== drawn || !root.firstChild) draw();
		drawn = shape;
		showAll();
		showTime();
		primeSoon();
	}

	function showAll() {
		for (const one of data.strips) show(one);
		for (const group of data.sections) showSection(group);
		showLoudness();
	}

	// master is what brings the sum to the film's loudness: as it was measured for this
	// manifest, or else as it is estimated.
	function master() {
		const measured = desk.state().measured;
		if (measured) return measured.gain_db;
		const about = loudnessOf(data.strips);
		return about === undefined ? 0 : Math.min(24, data.target_lufs - about);
	}

	// ready returns the mixer, which is built when it is first asked for.
	async function ready() {
		if (mixer) return mixer;
		const of = data, made = await Mixer.make(audio(), of);
		if (mixer || data.id !== of.id) { // somebody else was quicker
			made.close();
			return ready();
		}
		mixer = made;
		mixer.ended = () => { at = data.start; showTime(); desk.tell("The end."); };
		mixer.failed = desk.fail;
		return mixer;
	}

	async function play(from) {
		try {
			await ready();
			mixer.out.gain.value = factor(master());
			mixer.set(data.strips, solo);
			if (await mixer.start(Math.max(data.start, from))) {
				desk.tell(`Playing from ${measureAt(from)}.`);
				clearTimeout(frame);
				meter();
			}
		} catch (error) {
			desk.fail(error);
		}
	}

	// primeSoon gets ready what would be heard first, when the page has nothing else to do
	// and a person has touched it: before that browsers let no sound be made.
	function primeSoon() {
		clearTimeout(priming);
		if (!data || !navigator.userActivation?.hasBeenActive) return;
		priming = setTimeout(async () => {
			try {
				await ready();
				if (!mixer.began) await Promise.all([mixer.furnish(), mixer.prime(Math.max(data.start, at)).groups]);
			} catch { /* whoever plays is told */ }
		}, 100);
	}

	function stop() {
		at = mixer?.now() ?? at;
		mixer?.stop();
		for (const bar of [...whole, ...[...views.values()].map((v) => v.meter)]) level(bar, 0);
		primeSoon();
	}

	const toggle = () => mixer?.began ? stop() : play(at);

	// measureAt names the beat at a guide time.
	function measureAt(guide) {
		let last;
		for (const b of data.beats) if (b.at <= guide + 1e-6) last = b;
		return last ? (last.count_in ? "count-in " : "measure ") + beatName(last).replace(/^c/, "") : "before the guide";
	}

	// skip goes a measure forth or back.
	function skip(by) {
		const downs = data.beats.filter((b) => b.down && !b.count_in).map((b) => b.at), now = mixer?.now() ?? at;
		const next = by > 0 ? downs.find((t) => t > now + 0.01) : downs.filter((t) => t < now - 0.3).pop();
		seek(next ?? (by > 0 ? now : data.start));
	}

	function seek(to) {
		at = to;
		if (mixer?.began) play(at);
		else {
			desk.tell(`At ${measureAt(at)}.`);
			primeSoon();
		}
		showTime();
	}

	// meter shows levels and the place while something plays.
	function meter() {
		if (!mixer?.began) return;
		frame = setTimeout(() => requestAnimationFrame(meter), meterPause);
		at = mixer.now();
		const loud = mixer.out.gain.value, share = (top) => Math.max(0, Math.min(1, 1 + 20 * Math.log10(Math.max(1e-6, top)) / 60)); // 60 dB
		mixer.loudest().forEach((top, side) => level(whole[side], share(top)));
		data.strips.forEach(({ take }, i) => {
			const view = views.get(take);
			if (!view?.isSeen) return;
			level(view.meter, share((mixer.peaks[i] || 0) * loud));
		});
		showTime();
	}

	// level moves a meter, if that is to be seen.
	function level(bar, share) {
		const text = share.toFixed(2);
		if (bar.dataset.level === text) return;
		bar.dataset.level = text;
		bar.style.transform = `scaleX(${text})`;
	}

	function showTime() {
		const bar = root.querySelector("#at");
		if (!bar) return;
		if (Math.abs(Number(bar.value) - at) > 0.2) bar.value = String(at);
		const text = measureAt(at), says = root.querySelector("#at-text");
		if (says.textContent === text) return;
		bar.setAttribute("aria-valuetext", text);
		says.textContent = text;
	}

	// change gives a strip a value that is heard at once; it is written when the person
	// has come to rest, and so is one step to undo.
	function change(one, key, value, words) {
		one[key] = value;
		mixer?.set(data.strips, solo);
		show(one);
		showLoudness();
		desk.tell(words);
	}

	function writeSoon(write) {
		clearTimeout(waiting?.timer);
		if (waiting && waiting.about !== write.about) waiting.run();
		waiting = { about: write.about, run: () => { waiting = undefined; write.run(); } };
		waiting.timer = setTimeout(waiting.run, patience);
	}

	// write writes a value, and before it what still waits to be written.
	function write(one, key, value) {
		flush();
		desk.decide("change", { what: `${key.replace("_", " ")} of ${one.take}`, changes: [{ take: one.take, keys: [key], value }] });
	}

	function flush() {
		clearTimeout(waiting?.timer);
		waiting?.run();
	}

	function setGain(one, db, later) {
		const value = Math.round(Math.max(-60, Math.min(24, db)) * 100) / 100;
		change(one, "gain_db", value, `${one.take}: gain ${signed(value, 1)} dB.`);
		if (later) writeSoon({ about: "gain " + one.take, run: () => write(one, "gain", value) });
		else write(one, "gain", value);
	}

	function setPan(one, place, later) {
		const value = Math.round(Math.max(-100, Math.min(100, place)));
		one.pan_set = true;
		change(one, "pan", value, `${one.take}: ${placeName(value)}.`);
		if (later) writeSoon({ about: "pan " + one.take, run: () => write(one, "pan", value) });
		else write(one, "pan", value);
	}

	function setSend(one, db) {
		const value = db <= leastSend ? null : Math.round(db);
		change(one, "send_db", value, `${one.take}: ${sendName(value)}.`);
		write(one, "send", value === null ? "none" : value);
	}

	function setMute(one) {
		change(one, "mute", !one.mute, `${one.take}: ${one.mute ? "heard" : "muted"}.`);
		write(one, "mute", one.mute ? true : null);
	}

	function setSolo(one) {
		if (!solo.delete(one.take)) solo.add(one.take);
		mixer?.set(data.strips, solo);
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
			choose: () => { hand = i; }, one: () => data.strips[i], change, setGain, setPan, setCut, setSend, setMute, setSolo,
			bySeat: (s) => write(s, "pan", null),
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
		fill(root,
			el("div", { class: "desk-bar", role: "group", "aria-label": "Playing" }, key("Play", "p", toggle), key("Stop", "s", stop),
				key("Measure back", "[", () => skip(-1)), key("Measure on", "]", () => skip(1)),
				el("input", { type: "range", id: "at", "data-id": "at", min: String(data.start), max: String(data.start + data.length), step: "0.01",
					"aria-label": "Where it plays", oninput: (e) => { at = Number(e.target.value); showTime(); }, onchange: () => seek(at) }),
				el("span", { id: "at-text", class: "total" })),
			el("section", { class: "whole", "aria-label": "The film" }, el("h2", {}, "The film"),
				el("div", { class: "meter", "aria-hidden": "true" }, whole[0]), el("div", { class: "meter", "aria-hidden": "true" }, whole[1]),
				el("div", { class: "desk-bar" }, loudness, key("Measure the loudness", "l", () => desk.run("measure")))),
			data.room > 0 ? el("p", { class: "soft" }, data.hall.length ? "You hear the room of the film; Room says how much of it a player gets."
				: "The shared room cannot be heard here; the film has it.") : null,
			groups.map((name) => el("section", { "aria-label": name || "Without section" },
				el("h2", {}, name || "Without section"), name && section(name)?.number >= 0 ? sectionView(name) : null,
				el("ul", { class: "strips" }, data.strips.map((s) => s.section === name ? items.get(s.take) : null)))));
		build();
	}

	function sectionView(name) {
		return el("label", { class: "desk-bar" }, "Gain of the section",
			el("input", { type: "range", min: "-24", max: "12", step: "0.5", "data-id": "section " + name, "aria-label": `Gain of the section ${name}`,
				oninput: (e) => {
					const group = section(name), by = Number(e.target.value) - group.gain_db;
					group.gain_db += by;
					for (const s of data.strips) if (s.section === name) { s.group_db += by; show(s); }
					mixer?.set(data.strips, solo);
					showLoudness();
					showSection(group);
					desk.tell(`${name}: gain ${signed(group.gain_db, 1)} dB.`);
				},
				onchange: () => {
					flush();
					desk.decide("change", { what: `gain of the ${name}`,
						changes: [{ take: "", keys: ["sections", String(section(name).number), "gain"], value: section(name).gain_db }] });
				} }), el("span", { class: "total" }));
	}

	function showSection(group) {
		const input = root.querySelector(`[data-id="${CSS.escape("section " + group.name)}"]`);
		if (!input) return;
		put(input, String(group.gain_db));
		input.setAttribute("aria-valuetext", `${signed(group.gain_db, 1)} dB`);
		input.nextSibling.textContent = `${signed(group.gain_db, 1)} dB`;
	}

	function step(by) {
		hand = Math.min(data.strips.length - 1, Math.max(0, hand + by));
		const one = strip();
		reach(hand);
		views.get(one.take).gain.focus();
		desk.tell(`${one.player || one.take}: gain ${signed(one.gain_db, 1)} dB, ${placeName(one.pan)}.`);
	}

	const inHand = (does) => () => { if (strip()) does(strip()); };

	return {
		name: "mix", title: "Mix", needs: "mix",
		isReady: (state) => state.mixed,
		keys: [
			["p", "play, or stop", toggle], [" ", "", toggle], ["s", "stop", stop],
			["[", "a measure back", () => skip(-1)], ["]", "a measure on", () => skip(1)],
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
		hide: () => {
			flush();
			stop();
			clearTimeout(priming);
			clearTimeout(slice);
		},
	};
}
