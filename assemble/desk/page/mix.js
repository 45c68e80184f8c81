// The room of the mix: a strip for each take, heard with what the program does to it.
import { el, fill, keyCap, signed } from "./dom.js";
import { get } from "./server.js";
import { audio } from "./sound.js";
import { loudnessOf, Mixer, totalOf } from "./mixer.js";
import { beatName } from "./wave.js";

// Steps of the keys, and how long they wait for the next one before they are written.
const gainStep = 0.5, panStep = 5, patience = 500;

// A send so low is none.
const leastSend = -30;

// mixRoom returns the room; desk is what main.js offers.
export function mixRoom(desk) {
	let data, root, mixer, at, hand = 0, frame, waiting, loudness, drawn;
	const solo = new Set();
	const views = new Map(); // by take: the parts of the page that change

	const strip = () => data?.strips[hand];
	const section = (name) => data.sections.find((s) => s.name === name);

	async function load() {
		const next = await get("mix");
		// Voices that are the same ones play on.
		const same = data && JSON.stringify(data.strips.map((s) => s.sound)) === JSON.stringify(next.strips.map((s) => s.sound));
		data = next;
		at ??= data.start;
		if (!same) {
			mixer?.stop();
			mixer = undefined;
		} else {
			mixer?.set(data.strips, solo);
		}
		hand = Math.min(hand, data.strips.length - 1);
		// Controls stay while they are the same ones: a person may be at one of them.
		const shape = JSON.stringify([data.strips.map((s) => [s.take, s.player, s.part, s.section]), data.sections.map((s) => s.name), data.room]);
		if (shape !== drawn || !root.firstChild) draw();
		drawn = shape;
		for (const one of data.strips) show(one);
		for (const group of data.sections) showSection(group);
		showTime();
	}

	// master is what brings the sum to the film's loudness: as it was measured for this
	// manifest, or else as it is estimated.
	function master() {
		const measured = desk.state().measured;
		if (measured) return measured.gain_db;
		const about = loudnessOf(data.strips);
		return about === undefined ? 0 : Math.min(24, data.target_lufs - about);
	}

	async function play(from) {
		try {
			if (!mixer) {
				mixer = new Mixer(audio(), data);
				mixer.ended = () => { at = data.start; desk.tell("The end."); };
			}
			audio();
			mixer.out.gain.value = Math.pow(10, master() / 20);
			mixer.set(data.strips, solo);
			if (await mixer.start(Math.max(data.start, from))) {
				desk.tell(`Playing from ${measureAt(from)}.`);
				cancelAnimationFrame(frame);
				meter();
			}
		} catch (error) {
			desk.fail(error);
		}
	}

	function stop() {
		at = mixer?.now() ?? at;
		mixer?.stop();
		for (const view of views.values()) view.meter?.style.setProperty("--level", "0");
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
		else desk.tell(`At ${measureAt(at)}.`);
		showTime();
	}

	const samples = new Float32Array(1024);

	// meter shows levels and the place while something plays.
	function meter() {
		if (!mixer?.began) return;
		at = mixer.now();
		for (const [take, built] of mixer.strips) {
			built.meter.getFloatTimeDomainData(samples);
			let top = 0;
			for (const v of samples) if (Math.abs(v) > top) top = Math.abs(v);
			const db = 20 * Math.log10(Math.max(1e-6, top * mixer.out.gain.value));
			views.get(take)?.meter.style.setProperty("--level", String(Math.max(0, Math.min(1, 1 + db / 60)))); // 60 dB
		}
		showTime();
		frame = requestAnimationFrame(meter);
	}

	function showTime() {
		const bar = root.querySelector("#at");
		if (!bar) return;
		bar.value = String(at);
		bar.setAttribute("aria-valuetext", measureAt(at));
		root.querySelector("#at-text").textContent = measureAt(at);
	}

	// change gives a strip a value that is heard at once; it is written when the person
	// has come to rest, and so is one step to undo.
	function change(one, key, value, words) {
		one[key] = value;
		mixer?.set(data.strips, solo);
		show(one);
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

	const sendName = (db) => db === null ? "sends nothing to the room" : `sends ${signed(db, 0)} dB to the room`;

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

	const placeName = (pan) => pan === 0 ? "in the middle" : `${Math.abs(Math.round(pan))} to the ${pan < 0 ? "left" : "right"}`;

	// put gives a control its value unless a person is about to give it one.
	function put(input, value) {
		const busy = input.type === "text" ? document.activeElement === input : input.matches(":active");
		if (!busy) input.value = value;
	}

	function show(one) {
		const view = views.get(one.take);
		if (!view) return;
		put(view.gain, String(one.gain_db));
		view.gain.setAttribute("aria-valuetext", `${signed(one.gain_db, 1)} dB`);
		view.says.textContent = `${signed(one.gain_db, 1)} dB, ${placeName(one.pan)}${one.pan_set ? "" : ", by seat"}`;
		put(view.pan, String(Math.round(one.pan)));
		view.pan.setAttribute("aria-valuetext", placeName(one.pan));
		put(view.cut, one.low_cut_set ? (one.low_cut_hz > 0 ? String(one.low_cut_hz) : "none") : "auto");
		if (view.send) {
			put(view.send, String(one.send_db ?? leastSend));
			view.send.setAttribute("aria-valuetext", sendName(one.send_db));
		}
		view.mute.setAttribute("aria-pressed", String(one.mute));
		view.solo.setAttribute("aria-pressed", String(solo.has(one.take)));
		view.level.textContent = one.why && !one.sound ? one.why : one.lufs === null ? "silent"
			: `${signed(one.lufs + totalOf(one), 1)} LUFS: ${signed(one.balance_db, 1)} dB balance` +
				(one.group_db ? `, ${signed(one.group_db, 1)} dB section` : "");
		view.item.className = one.mute || !one.sound ? "strip off" : "strip";
		showLoudness();
	}

	function showLoudness() {
		if (!loudness) return;
		const m = desk.state().measured, about = loudnessOf(data.strips);
		loudness.textContent = m ? (m.integrated_lufs === null ? "The film is silent."
			: `The film has ${signed(m.integrated_lufs, 1)} LUFS, peaks at ${signed(m.true_peak_dbtp ?? 0, 1)} dBTP.`)
			: about === undefined ? "Nothing is heard." : `Not measured yet; heard at about ${signed(data.target_lufs, 1)} LUFS.`;
	}

	function stripView(take, i) {
		const id = (what) => `${what} ${take}`, one = () => data.strips[i];
		const choose = () => { hand = i; };
		const range = (what, label, more) => el("input", { type: "range", "data-id": id(what), "aria-label": `${label} of ${take}`, onfocus: choose, ...more });
		const button = (what, label, text, does) => el("button", { type: "button", "data-id": id(what), "aria-label": `${label} ${take}`,
			onfocus: choose, onclick: () => does(one()) }, text);
		const view = {
			gain: range("gain", "Gain", { min: "-24", max: "12", step: "0.5", onchange: (e) => setGain(one(), Number(e.target.value)),
				oninput: (e) => change(one(), "gain_db", Number(e.target.value), `${take}: gain ${signed(Number(e.target.value), 1)} dB.`) }),
			pan: range("pan", "Place", { min: "-100", max: "100", step: "1", onchange: (e) => setPan(one(), Number(e.target.value)),
				oninput: (e) => change(one(), "pan", Number(e.target.value), `${take}: ${placeName(Number(e.target.value))}.`) }),
			cut: el("input", { type: "text", size: 6, "data-id": id("cut"), "aria-label": `Low cut of ${take} in Hz, auto or none`,
				onfocus: choose, onchange: (e) => setCut(one(), e.target.value) }),
			send: data.room > 0 ? range("send", "Room", { min: String(leastSend), max: "12", step: "1",
				onchange: (e) => setSend(one(), Number(e.target.value)), oninput: (e) => {
					const db = Number(e.target.value) <= leastSend ? null : Number(e.target.value);
					change(one(), "send_db", db, `${take}: ${sendName(db)}.`);
				} }) : null,
			mute: button("mute", "Mute", "Mute", setMute), solo: button("solo", "Solo", "Solo", setSolo),
			auto: button("auto", "By its seat: the place of", "By seat", (s) => write(s, "pan", null)),
			meter: el("i"), says: el("p", { class: "total" }), level: el("p", { class: "soft total" }),
		};
		const { player, part } = one();
		view.item = el("li", { class: "strip", "data-take": take },
			el("h3", {}, player || take, part ? ` · ${part}` : ""),
			el("div", { class: "meter", "aria-hidden": "true" }, view.meter), view.says,
			el("label", {}, "Gain", view.gain), el("label", {}, "Place", view.pan), el("label", {}, "Low cut", view.cut),
			view.send ? el("label", {}, "Room", view.send) : null,
			el("div", { class: "keys" }, view.mute, view.solo, view.auto), view.level);
		views.set(take, view);
		return view.item;
	}

	function draw() {
		views.clear();
		const key = (text, press, does) => el("button", { type: "button", "aria-keyshortcuts": press, "data-id": press, onclick: does }, text, " ", keyCap(press));
		loudness = el("p", { class: "total" });
		const groups = [...new Set(data.strips.map((s) => s.section))];
		fill(root,
			el("div", { class: "desk-bar", role: "group", "aria-label": "Playing" }, key("Play", "p", toggle), key("Stop", "s", stop),
				key("Measure back", "[", () => skip(-1)), key("Measure on", "]", () => skip(1)),
				el("input", { type: "range", id: "at", "data-id": "at", min: String(data.start), max: String(data.start + data.length), step: "0.01",
					"aria-label": "Where it plays", oninput: (e) => { at = Number(e.target.value); showTime(); }, onchange: () => seek(at) }),
				el("span", { id: "at-text", class: "total" })),
			el("div", { class: "desk-bar" }, loudness, key("Measure the loudness", "l", () => desk.run("measure"))),
			data.room > 0 ? el("p", { class: "soft" }, data.hall.length ? "You hear the room of the film; Room says how much of it a player gets."
				: "The shared room cannot be heard here; the film has it.") : null,
			groups.map((name) => el("section", { "aria-label": name || "Without section" },
				el("h2", {}, name || "Without section"), name && section(name)?.number >= 0 ? sectionView(name) : null,
				el("ul", { class: "strips" }, data.strips.map((s, i) => s.section === name ? stripView(s.take, i) : null)))));
	}

	function sectionView(name) {
		return el("label", { class: "desk-bar" }, "Gain of the section",
			el("input", { type: "range", min: "-24", max: "12", step: "0.5", "data-id": "section " + name, "aria-label": `Gain of the section ${name}`,
				oninput: (e) => {
					const group = section(name), by = Number(e.target.value) - group.gain_db;
					group.gain_db += by;
					for (const s of data.strips) if (s.section === name) { s.group_db += by; show(s); }
					mixer?.set(data.strips, solo);
					desk.tell(`${name}: gain ${signed(group.gain_db, 1)} dB.`);
				},
				onchange: () => {
					flush();
					desk.decide("change", { what: `gain of the ${name}`,
						changes: [{ take: "", keys: ["sections", String(section(name).number), "gain"], value: section(name).gain_db }] });
				} }));
	}

	function showSection(group) {
		const input = root.querySelector(`[data-id="${CSS.escape("section " + group.name)}"]`);
		if (!input) return;
		put(input, String(group.gain_db));
		input.setAttribute("aria-valuetext", `${signed(group.gain_db, 1)} dB`);
	}

	function step(by) {
		hand = Math.min(data.strips.length - 1, Math.max(0, hand + by));
		const one = strip();
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
		hide: () => { flush(); stop(); },
	};
}
