// A strip of the mix as it is drawn: its controls, and what they say in words.
import { el, signed } from "./dom.js";
import { totalOf } from "./mixer.js";

// A send so low is none.
export const leastSend = -30;

export const placeName = (pan) => pan === 0 ? "in the middle" : `${Math.abs(Math.round(pan))} to the ${pan < 0 ? "left" : "right"}`;

export const sendName = (db) => db === null ? "sends nothing to the room" : `sends ${signed(db, 0)} dB to the room`;

// buildStrip builds the controls of a strip into its item and returns those that change.
// does says what they do; its one returns the strip as it is by then.
export function buildStrip(item, { take, player, part }, hasRoom, does) {
	const id = (what) => `${what} ${take}`, { one } = does;
	const range = (what, label, more) => el("input", { type: "range", "data-id": id(what), "aria-label": `${label} of ${take}`,
		onfocus: does.choose, ...more });
	const button = (what, label, text, act) => el("button", { type: "button", "data-id": id(what), "aria-label": `${label} ${take}`,
		onfocus: does.choose, onclick: () => act(one()) }, text);
	const view = {
		item,
		gain: range("gain", "Gain", { min: "-24", max: "12", step: "0.5", onchange: (e) => does.setGain(one(), Number(e.target.value), true),
			oninput: (e) => does.change(one(), { gain_db: Number(e.target.value) }, `${take}: gain ${signed(Number(e.target.value), 1)} dB.`) }),
		pan: range("pan", "Place", { min: "-100", max: "100", step: "1", onchange: (e) => does.setPan(one(), Number(e.target.value), true),
			oninput: (e) => does.change(one(), { pan: Number(e.target.value), pan_set: true }, `${take}: ${placeName(Number(e.target.value))}.`) }),
		cut: el("input", { type: "text", size: 6, "data-id": id("cut"), "aria-label": `Low cut of ${take} in Hz, auto or none`,
			onfocus: does.choose, onchange: (e) => does.setCut(one(), e.target.value) }),
		send: hasRoom ? range("send", "Room", { min: String(leastSend), max: "12", step: "1",
			onchange: (e) => does.setSend(one(), Number(e.target.value), true), oninput: (e) => {
				const db = Number(e.target.value) <= leastSend ? null : Number(e.target.value);
				does.change(one(), { send_db: db }, `${take}: ${sendName(db)}.`);
			} }) : null,
		mute: button("mute", "Mute", "Mute", does.setMute), solo: button("solo", "Solo", "Solo", does.setSolo),
		auto: button("auto", "By its seat: the place of", "By seat", does.bySeat),
		meter: el("i"), says: el("p", { class: "says total" }), level: el("p", { class: "soft total" }),
	};
	item.replaceChildren(el("h3", {}, player || take, part ? el("span", {}, ` ${part}`) : ""),
		el("div", { class: "meter", "aria-hidden": "true" }, view.meter), view.says,
		el("label", {}, "Gain", view.gain), el("label", {}, "Place", view.pan), el("label", {}, "Low cut", view.cut),
		view.send ? el("label", {}, "Room", view.send) : "",
		el("div", { class: "keys" }, view.mute, view.solo, view.auto), view.level);
	item.removeAttribute("aria-busy");
	return view;
}

// put gives a control its value unless a person is about to give it one.
export function put(input, value) {
	const busy = input.type === "text" ? document.activeElement === input : input.matches(":active");
	if (!busy && input.value !== value) input.value = value;
}

// showStrip shows what a strip is set to, in its controls and in words.
export function showStrip(view, one, isSolo) {
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
	view.solo.setAttribute("aria-pressed", String(isSolo));
	view.level.textContent = one.why && !one.sound ? one.why : one.lufs === null ? "silent"
		: `${signed(one.lufs + totalOf(one), 1)} LUFS in the sum; of it ${signed(one.balance_db, 1)} dB by balance` +
			(one.group_db ? ` and ${signed(one.group_db, 1)} dB by section` : "");
	view.item.className = one.mute || !one.sound ? "strip off" : "strip";
}
