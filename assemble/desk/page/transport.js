// How the mix is played: from where, how it goes on, and what the meters show.
import { el } from "./dom.js";
import { audio } from "./sound.js";
import { loudnessOf, Mixer } from "./mixer.js";
import { beatName } from "./wave.js";

// meterPause is how long meters rest between two frames, in milliseconds: they are drawn
// some twelve times a second, which leaves the page's time to what a person does.
const meterPause = 66;

const factor = (db) => Math.pow(10, db / 20);

// transport returns what plays. data is the mix as it is in hand, solo the takes that are
// heard alone, views what is drawn of strips, whole the meters of the film.
export function transport({ desk, data, solo, views, whole }) {
	let mixer, at, frame, priming, bar, says;
	let asked = 0, going = false; // somebody wants it to play, though nothing may be heard yet
	let scrubbing = false; // the place is in a hand

	// master is what brings the sum to the film's loudness: as it was measured for this
	// manifest, or else as it is estimated.
	function master() {
		const measured = desk.state().measured, target = data().target_lufs;
		// A loudness that was set since, and is not written yet, is heard as well.
		const since = measured ? target - (measured.integrated_lufs ?? target) : 0;
		if (measured) return measured.gain_db + (Math.abs(since) < 0.25 ? 0 : since);
		const about = loudnessOf(data().strips);
		return about === undefined ? 0 : Math.min(24, target - about);
	}

	// ready returns the mixer, which is built when it is first asked for.
	async function ready() {
		if (mixer) return mixer;
		const of = data(), made = await Mixer.make(audio(), of);
		if (mixer || data().id !== of.id) { // somebody else was quicker
			made.close();
			return ready();
		}
		mixer = made;
		mixer.ended = () => { going = false; at = data().start; showTime(); desk.tell("The end."); };
		mixer.failed = desk.fail;
		return mixer;
	}

	async function play(from) {
		const turn = ++asked;
		going = true;
		try {
			await ready();
			if (turn !== asked) return; // it was stopped meanwhile, or is to play from elsewhere
			level();
			set();
			if (await mixer.start(Math.max(data().start, from))) {
				desk.tell(`Playing from ${measureAt(from)}.`);
				clearTimeout(frame);
				meter();
			}
		} catch (error) {
			if (turn === asked) going = false;
			desk.fail(error);
		}
	}

	// primeSoon gets ready what would be heard first, when the page has nothing else to do
	// and a person has touched it: before that browsers let no sound be made.
	function primeSoon() {
		clearTimeout(priming);
		if (!data() || !navigator.userActivation?.hasBeenActive) return;
		priming = setTimeout(async () => {
			try {
				await ready();
				if (!going) await Promise.all([mixer.furnish(), mixer.prime(Math.max(data().start, at)).groups]);
			} catch { /* whoever plays is told */ }
		}, 100);
	}

	function stop() {
		asked++;
		going = false;
		at = mixer?.now() ?? at;
		mixer?.stop();
		for (const one of [...whole, ...[...views.values()].map((v) => v.meter)]) move(one, 0);
		primeSoon();
	}

	// measureAt names the beat at a guide time.
	function measureAt(guide) {
		let last;
		for (const b of data().beats) if (b.at <= guide + 1e-6) last = b;
		return last ? (last.count_in ? "count-in " : "measure ") + beatName(last).replace(/^c/, "") : "before the guide";
	}

	// skip goes a measure forth or back.
	function skip(by) {
		const downs = data().beats.filter((b) => b.down && !b.count_in).map((b) => b.at), now = mixer?.now() ?? at;
		const next = by > 0 ? downs.find((t) => t > now + 0.01) : downs.filter((t) => t < now - 0.3).pop();
		seek(next ?? (by > 0 ? now : data().start));
	}

	function seek(to) {
		at = to;
		if (going) play(at);
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
		if (!scrubbing) at = mixer.now();
		const loud = mixer.out.gain.value, share = (top) => Math.max(0, Math.min(1, 1 + 20 * Math.log10(Math.max(1e-6, top)) / 60)); // 60 dB
		mixer.loudest().forEach((top, side) => move(whole[side], share(top)));
		data().strips.forEach(({ take }, i) => {
			const view = views.get(take);
			if (!view?.isSeen) return;
			move(view.meter, share((mixer.peaks[i] || 0) * loud));
		});
		showTime();
	}

	// move moves a meter, if that is to be seen.
	function move(one, share) {
		const text = share.toFixed(2);
		if (one.dataset.level === text) return;
		one.dataset.level = text;
		one.style.transform = `scaleX(${text})`;
	}

	function showTime() {
		if (!bar) return;
		if (!scrubbing && Math.abs(Number(bar.value) - at) > 0.2) bar.value = String(at);
		const text = measureAt(at);
		if (says.textContent === text) return;
		bar.setAttribute("aria-valuetext", text);
		says.textContent = text;
	}

	// level gives what plays the loudness of the film.
	function level() { if (mixer) mixer.out.gain.value = factor(master()); }

	// set has what plays follow what is in hand.
	function set() { mixer?.set(data().strips, solo); }

	return {
		play, stop, skip, set, level, primeSoon,
		toggle: () => going ? stop() : play(at),
		// loaded takes over a mix that was loaded; same tells that its voices are the same
		// ones, which play on. Others go on where those were.
		loaded(same) {
			at ??= data().start;
			if (same) return set();
			const on = going;
			at = mixer?.now() ?? at;
			asked++;
			going = false;
			mixer?.close();
			mixer = undefined;
			if (on) play(at);
		},
		// view draws the place at which it plays.
		view() {
			const { start, length } = data();
			bar = el("input", { type: "range", id: "at", "data-id": "at", min: String(start), max: String(start + length), step: "0.01",
				"aria-label": "Where it plays", oninput: () => { scrubbing = true; at = Number(bar.value); showTime(); },
				onchange: () => { scrubbing = false; seek(Number(bar.value)); } });
			scrubbing = false;
			says = el("span", { id: "at-text", class: "total" });
			return [bar, says];
		},
		showTime,
		rest: () => clearTimeout(priming),
	};
}
