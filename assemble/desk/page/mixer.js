// The mix as the page plays it: voices from the store, with the gains, places, lifts
// and fades that `ripieno mix` applies to them. The same graph is played and, in the
// tests, rendered and measured against the program's own mix.
import { bufferOf, fetchPiece, rate } from "./sound.js";
import { gains, stereo } from "./pan.js";

// pieceFrames is how much of a voice is fetched and started at once: of sixty voices
// that are 12 MB.
const pieceFrames = rate;

// ahead is how many seconds before they are heard pieces are started.
const ahead = 2;

// edgeAfter returns the end of the piece in which a frame lies.
const edgeAfter = (frame, end) => Math.min((Math.floor(frame / pieceFrames) + 1) * pieceFrames, end);

// pause lets the page draw and answer keys.
const pause = () => new Promise((done) => {
	const way = new MessageChannel();
	way.port1.onmessage = done;
	way.port2.postMessage(0);
});

const factor = (db) => Math.pow(10, db / 20);

// curve is half a period of a cosine from 0 to 1, as the program fades.
const curve = (from, to) => Float32Array.from({ length: 257 }, (_, i) =>
	0.5 - 0.5 * Math.cos(Math.PI * (from + (to - from) * i / 256)));

// totalOf returns the decibels that are applied to a strip's voice, without lifts.
export const totalOf = (strip) => strip.gain_db + strip.group_db + strip.balance_db;

// Mixer plays a mixing (what /api/mix answers) in an audio context.
export class Mixer {
	constructor(ctx, mixing, into = ctx.destination) {
		this.ctx = ctx;
		this.mixing = mixing;
		this.out = new GainNode(ctx, { gain: 1 }); // how loud one listens
		this.fade = new GainNode(ctx, { gain: 1 });
		this.fade.connect(this.out).connect(into);
		this.room = mixing.room > 0 && mixing.hall.length === 2 ? this.#buildRoom() : undefined;
		this.strips = new Map();
		for (const strip of mixing.strips) if (strip.sound) this.strips.set(strip.take, this.#build(strip));
		this.sources = new Set();
		this.turn = 0;
	}

	// #buildRoom makes the room that all share: what both sides send is convolved with what
	// the program's own room answers to each.
	#buildRoom() {
		const { ctx } = this, into = new GainNode(ctx), split = new ChannelSplitterNode(ctx, { numberOfOutputs: 2 });
		const level = new GainNode(ctx, { gain: this.mixing.room });
		const sides = [0, 1].map((side) => {
			const answer = new ConvolverNode(ctx, { disableNormalization: true });
			split.connect(answer, side).connect(level);
			return answer;
		});
		into.connect(split);
		level.connect(this.fade);
		return { into, sides, ready: undefined };
	}

	// #furnish fetches what the room answers, once.
	#furnish() {
		if (!this.room) return undefined;
		this.room.ready ??= Promise.all(this.room.sides.map(async (side, i) => {
			const sound = this.mixing.hall[i], channels = await fetchPiece(sound, 0, Math.min(sound.frames, 1 << 19));
			side.buffer = bufferOf(this.ctx, channels, rate);
		}));
		return this.room.ready;
	}

	// #build makes the way of a strip: lift, gain, place, and a meter behind the gain.
	#build(strip) {
		const { ctx } = this, channels = strip.sound.channels;
		const lift = new GainNode(ctx), gain = new GainNode(ctx), meter = new AnalyserNode(ctx, { fftSize: 1024 });
		const split = new ChannelSplitterNode(ctx, { numberOfOutputs: channels }), merge = new ChannelMergerNode(ctx, { numberOfInputs: 2 });
		lift.connect(gain).connect(split);
		gain.connect(meter);
		const ways = []; // [out][in]
		for (let out = 0; out < 2; out++) {
			ways.push([]);
			for (let from = 0; from < channels; from++) {
				const way = new GainNode(ctx);
				split.connect(way, from).connect(merge, 0, out);
				ways[out].push(way);
			}
		}
		merge.connect(this.fade);
		const send = this.room && new GainNode(ctx);
		if (send) merge.connect(send).connect(this.room.into);
		const built = { strip, lift, gain, meter, ways, send };
		this.#apply(built, 0);
		return built;
	}

	// set gives the strips what is in hand: gains, places, mutes; solo is a set of takes
	// that alone are heard while it is not empty.
	set(strips, solo = new Set()) {
		for (const strip of strips) {
			const built = this.strips.get(strip.take);
			if (!built) continue;
			built.strip = strip;
			this.#apply(built, 0.01, solo.size > 0 && !solo.has(strip.take));
		}
	}

	// #apply sets the factors of a strip, gliding so that nothing clicks.
	#apply(built, glide, silent = false) {
		const { strip, gain, ways } = built, now = this.ctx.currentTime;
		const put = (param, value) => glide ? param.setTargetAtTime(value, now, glide) : (param.value = value);
		put(gain.gain, strip.mute || silent ? 0 : factor(totalOf(strip)));
		if (built.send) put(built.send.gain, strip.send_db === null ? 0 : factor(strip.send_db));
		const place = strip.pan / 100;
		const matrix = ways[0].length === 1 ? gains(strip.law, place).map((g) => [g]) : stereo(strip.law, place, strip.width);
		ways.forEach((row, out) => row.forEach((way, from) => put(way.gain, matrix[out][from])));
	}

	// start plays from a guide time on. It returns when the first pieces are there.
	async start(from, at) {
		this.stop();
		const turn = ++this.turn;
		const first = Math.round(from * rate), end = Math.round((this.mixing.start + this.mixing.length) * rate);
		await this.#furnish();
		const runs = [];
		// What is heard first is made before anything starts, and is no shorter than the way
		// of what follows.
		for (let next = first; next < end && next - first < pieceFrames / 2;) {
			const edge = edgeAfter(next, end);
			runs.push({ at: next, sources: await this.#prepare(next, edge, turn) });
			next = edge;
			this.next = edge;
		}
		if (turn !== this.turn) return false;
		// Times are whole samples, so that pieces meet without a seam.
		const zero = at ?? Math.ceil((this.ctx.currentTime + 0.03) * rate) / rate;
		this.began = { from: first / rate, zero };
		this.#automate(first, zero);
		for (const run of runs) this.#begin(run.sources, zero + (run.at - first) / rate);
		this.#fill(first, zero, end, turn);
		return true;
	}

	// now returns the guide time that is heard; undefined when nothing plays.
	now() {
		return this.began && this.began.from + Math.max(0, this.ctx.currentTime - this.began.zero);
	}

	// stop ends what plays.
	stop() {
		this.turn++;
		this.began = undefined;
		clearTimeout(this.timer);
		for (const source of this.sources) source.stop();
		this.sources.clear();
	}

	// renderAll starts everything from a guide time on at once, for a context that is
	// rendered instead of played.
	async renderAll(from, frames) {
		const first = Math.round(from * rate);
		await this.#furnish();
		this.#automate(first, 0);
		for (let at = first; at < first + frames;) {
			const next = edgeAfter(at, first + frames);
			this.#begin(await this.#prepare(at, next, this.turn), (at - first) / rate);
			at = next;
		}
	}

	// #fill starts pieces until the next ones have time.
	async #fill(first, zero, end, turn) {
		while (turn === this.turn && this.next < end && zero + (this.next - first) / rate < this.ctx.currentTime + ahead) {
			const at = this.next, next = edgeAfter(at, end);
			this.next = next;
			this.#begin(await this.#prepare(at, next, turn), zero + (at - first) / rate);
		}
		if (turn !== this.turn) return;
		if (this.next >= end && zero + (end - first) / rate < this.ctx.currentTime) {
			this.stop();
			this.ended?.();
			return;
		}
		this.timer = setTimeout(() => this.#fill(first, zero, end, turn), 200);
	}

	// #pieces returns the strips that sound in a piece, with it.
	#fetch(at, next) {
		const piece = Math.floor(at / pieceFrames);
		return Promise.all([...this.strips.values()].map(async (built) => {
			const { sound } = built.strip, offset = Math.round(built.strip.from * rate);
			const begin = piece * pieceFrames;
			if (begin + pieceFrames <= offset || begin >= offset + sound.frames || next <= at) return undefined;
			return { built, begin, channels: await fetchPiece(sound, begin - offset, pieceFrames) };
		}));
	}

	// #prepare returns what plays the frames [at, next) of all strips, which lie in one
	// piece. It lets the page do something else in between.
	async #prepare(at, next, turn) {
		const heard = (await this.#fetch(at, next)).filter(Boolean), sources = [];
		for (const [i, one] of heard.entries()) {
			if (i % 6 === 5) await pause();
			if (turn !== this.turn) return [];
			const buffer = this.ctx.createBuffer(one.channels.length, next - at, rate);
			one.channels.forEach((samples, c) => buffer.copyToChannel(samples.subarray(at - one.begin, next - one.begin), c));
			const source = new AudioBufferSourceNode(this.ctx, { buffer });
			source.connect(one.built.lift);
			source.onended = () => this.sources.delete(source);
			sources.push(source);
		}
		return turn === this.turn ? sources : [];
	}

	// #begin starts all of them at a time of the context. Where that has passed they begin
	// where they would be by now, so that a slow machine leaves a gap and not two times.
	#begin(sources, when) {
		const late = Math.max(0, this.ctx.currentTime - when);
		for (const source of sources) {
			source.start(when + late, late);
			this.sources.add(source);
		}
	}

	// #automate writes the fades of the whole and the lifts of soloists down, from a
	// frame of guide time that is heard at zero.
	#automate(first, zero) {
		const { start, length, fade_in: fadeIn, fade_out: fadeOut } = this.mixing, from = first / rate;
		const when = (guide) => zero + guide - from;
		const fade = this.fade.gain;
		fade.cancelScheduledValues(0);
		fade.setValueAtTime(1, zero);
		if (fadeIn > 0 && from < start + fadeIn) {
			fade.setValueCurveAtTime(curve((from - start) / fadeIn, 1), zero, start + fadeIn - from);
		}
		const falls = start + length - fadeOut, begins = Math.max(from, falls);
		if (fadeOut > 0 && begins < start + length) {
			const done = (begins - falls) / fadeOut;
			fade.setValueCurveAtTime(curve(done, 1).map((g) => 1 - g), when(begins), start + length - begins);
		}
		for (const { strip, lift } of this.strips.values()) {
			lift.gain.cancelScheduledValues(0);
			lift.gain.setValueAtTime(factor(liftAt(strip.lifts, from)), zero);
			for (const corner of cornersOf(strip.lifts)) {
				// A straight line of decibels is an exponential one of factors.
				if (corner > from) lift.gain.exponentialRampToValueAtTime(factor(liftAt(strip.lifts, corner)), when(corner));
			}
		}
	}
}

// cornersOf returns the guide times at which lifts change their slope.
const cornersOf = (lifts) => lifts.flatMap((l) => [l.from - l.ramp, l.from, l.to, l.to + l.ramp]).sort((a, b) => a - b);

// liftAt returns the decibels of all lifts at a guide time.
export function liftAt(lifts, at) {
	let db = 0;
	for (const l of lifts) {
		if (at <= l.from - l.ramp || at >= l.to + l.ramp) continue;
		const share = at < l.from ? (at - l.from + l.ramp) / l.ramp : at > l.to ? (l.to + l.ramp - at) / l.ramp : 1;
		db += l.gain_db * share;
	}
	return db;
}

// loudnessOf estimates how loud strips are together, in LUFS: sounds that have nothing
// to do with each other add up in power. It is undefined for silence.
export function loudnessOf(strips) {
	let power = 0;
	for (const s of strips) {
		if (s.sound && !s.mute && s.lufs !== null) power += Math.pow(10, (s.lufs + totalOf(s)) / 10);
	}
	return power > 0 ? 10 * Math.log10(power) : undefined;
}
