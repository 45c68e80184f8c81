// The mix as the page plays it: small copies of the voices from the store, with the
// gains, places, lifts and fades that `ripieno mix` applies to them. The same graph is
// played and, in the tests, rendered and measured against the program's own mix. Voices
// are decoded by the browser aside from the page, and added up in voices.js.
import { bufferOf, fetchPiece, rate } from "./sound.js";
import { gains, stereo } from "./pan.js";
import { voicePiece } from "./server.js";

// Frames of guide time that are fetched at once: the first ones short, so that they are
// soon heard, and the others long, since every fetch has its price.
const firstFrames = rate / 2, pieceFrames = rate;

// ahead is how many seconds before they are heard pieces are there, and behind how long they
// stay: a measure forth or back is mostly there, and heard at once.
const ahead = 3, behind = 2.5;

// leastThere is how many seconds have to be there of a place that is heard at once: until
// then more have come.
const leastThere = 0.5;

// waitMost is how long what is decoded waits for the rest, in milliseconds; the rest
// joins in step.
const waitMost = 150;

const factor = (db) => Math.pow(10, db / 20);

// curve is half a period of a cosine from 0 to 1, as the program fades.
const curve = (from, to) => Float32Array.from({ length: 257 }, (_, i) =>
	0.5 - 0.5 * Math.cos(Math.PI * (from + (to - from) * i / 256)));

// totalOf returns the decibels that are applied to a strip's voice, without lifts.
export const totalOf = (strip) => strip.gain_db + strip.group_db + strip.balance_db;

// Mixer plays a mixing (what /api/mix answers) in an audio context.
export class Mixer {
	// make returns a mixer once the browser has read what adds voices up.
	static async make(ctx, mixing, into = ctx.destination) {
		await ctx.audioWorklet.addModule("/page/voices.js");
		return new Mixer(ctx, mixing, into);
	}

	constructor(ctx, mixing, into) {
		this.ctx = ctx;
		this.mixing = mixing;
		this.decoder = new OfflineAudioContext(1, 1, rate);
		this.peaks = []; // of every strip, as it was heard last
		this.gap = 0; // frames that came too late to be heard
		this.turn = 0;
		this.node = new AudioWorkletNode(ctx, "voices", { numberOfInputs: 0, numberOfOutputs: 2, outputChannelCount: [2, 2],
			processorOptions: { strips: mixing.strips.length, behind: behind * rate } });
		this.node.port.onmessage = ({ data }) => this.#hear(data);
		this.out = new GainNode(ctx, { gain: 1 }); // how loud one listens
		this.fade = new GainNode(ctx, { gain: 1 });
		this.node.connect(this.fade, 0).connect(this.out).connect(into);
		const sides = new ChannelSplitterNode(ctx, { numberOfOutputs: 2 });
		this.out.connect(sides);
		this.meters = [0, 1].map((side) => { // of the whole, left and right
			const meter = new AnalyserNode(ctx, { fftSize: 4096 }); // 85 ms, no less than between two looks
			sides.connect(meter, side);
			return meter;
		});
		this.room = mixing.room > 0 && mixing.hall.length === 2 ? this.#buildRoom() : undefined;
		this.set(mixing.strips, undefined, true);
	}

	// #buildRoom makes the room that all share: what both sides send is convolved with what
	// the program's own room answers to each.
	#buildRoom() {
		const { ctx } = this, split = new ChannelSplitterNode(ctx, { numberOfOutputs: 2 });
		const level = new GainNode(ctx, { gain: this.mixing.room });
		const sides = [0, 1].map((side) => {
			const answer = new ConvolverNode(ctx, { disableNormalization: true });
			split.connect(answer, side).connect(level);
			return answer;
		});
		this.node.connect(split, 1);
		level.connect(this.fade);
		return { sides, ready: undefined };
	}

	// furnish fetches what the room answers, once.
	furnish() {
		if (!this.room) return undefined;
		this.room.ready ??= Promise.all(this.room.sides.map(async (side, i) => {
			const sound = this.mixing.hall[i], channels = await fetchPiece(sound, 0, Math.min(sound.frames, 1 << 19));
			side.buffer = bufferOf(this.ctx, channels, rate);
		}));
		return this.room.ready;
	}

	// #hear takes what the thread for sound tells.
	#hear({ answer, turn, peaks, gap, ended }) {
		if (answer) this.answered?.();
		if (turn !== this.turn || !peaks) return;
		this.peaks = peaks;
		this.gap = gap;
		if (!ended) return;
		this.stop();
		this.ended?.();
	}

	// set gives the strips what is in hand: gains, places, mutes; solo is a set of takes
	// that alone are heard while it is not empty. Factors glide, so that nothing clicks,
	// unless they are to stand now.
	set(strips, solo = new Set(), now = false) {
		this.node.port.postMessage({ what: "set", now, strips: strips.map((strip) => {
			const silent = strip.mute || !strip.sound || solo.size > 0 && !solo.has(strip.take), place = strip.pan / 100;
			const [left, right] = strip.sound?.channels === 2 ? stereo(strip.law, place, strip.width)
				: gains(strip.law, place).map((g) => [g, 0]);
			return { gain: silent ? 0 : factor(totalOf(strip)), ways: [...left, ...right],
				send: this.room && strip.send_db !== null ? factor(strip.send_db) : 0, lifts: strip.lifts };
		}) });
	}

	// bring has the voices of a piece fetched and decoded, and gives them to keep as they
	// come, each group once. It returns a promise of each group, when it knows of them.
	async #bring(from, frames, keep) {
		const { groups, streams } = await voicePiece(this.mixing.id, from, frames);
		return groups.map(async (group, i) => {
			const sound = await this.decoder.decodeAudioData(streams[i]);
			// Some decoders take away what they take for an encoder's delay.
			const lost = Math.max(0, group.frames - sound.length);
			keep({ what: "piece", from, frames, parts: group.parts.map(([strip, skip, ...more]) => [strip, skip - lost, ...more]),
				channels: Array.from({ length: sound.numberOfChannels }, (_, c) => sound.getChannelData(c)) });
		});
	}

	// #send gives decoded voices to the thread for sound, without a copy.
	#send(piece, turn) {
		if (turn === this.turn) this.node.port.postMessage({ ...piece, turn }, piece.channels.map((x) => x.buffer));
	}

	// prime fetches and decodes what would be heard first from a guide time on, so that
	// start need not wait for it.
	prime(from) {
		const first = Math.round(from * rate);
		if (this.primed?.first === first) return this.primed;
		const primed = { first, pieces: [], keep: (piece) => primed.pieces.push(piece) };
		primed.groups = this.#bring(first, firstFrames, (piece) => primed.keep(piece));
		// Whoever starts waits for them and tells what is wrong.
		primed.groups.then((groups) => Promise.all(groups)).catch(() => { if (this.primed === primed) this.primed = undefined; });
		this.primed = primed;
		return primed;
	}

	// start plays from a guide time on. It returns whether it does, and not somebody who
	// has asked later.
	async start(from) {
		if (this.#has(Math.round(from * rate))) {
			this.#play(Math.round(from * rate));
			return true;
		}
		this.stop();
		const turn = ++this.turn, primed = this.prime(from), { first } = primed;
		this.primed = undefined;
		this.node.port.postMessage({ what: "begin", turn });
		primed.keep = (piece) => this.#send(piece, turn);
		primed.pieces.forEach(primed.keep);
		await Promise.all([this.furnish(), this.ctx.resume?.()]);
		const groups = await primed.groups;
		await Promise.race([Promise.all(groups), Promise.any(groups).then(() => new Promise((done) => setTimeout(done, waitMost)))]);
		if (turn !== this.turn) return false;
		this.since = first;
		this.next = this.there = first + firstFrames;
		this.#play(first);
		this.#fill(turn);
		return true;
	}

	// #has tells whether what is heard from a frame of guide time on is in the thread for
	// sound, since it plays near there.
	#has(first) {
		if (!this.began) return false;
		const gone = Math.round((this.now() - behind + 0.1) * rate);
		return first >= Math.max(this.since, gone) && first + leastThere * rate <= this.there;
	}

	// #play has the thread for sound play what it has from a frame of guide time on.
	#play(first) {
		const at = Math.ceil((this.ctx.currentTime + 0.02) * rate);
		this.node.port.postMessage({ what: "play", turn: this.turn, from: first, at, end: this.#end() });
		this.began = { from: first / rate, zero: at / rate };
		this.#automate(first, at / rate);
	}

	// #end returns the frame of guide time at which the film ends.
	#end() { return Math.round((this.mixing.start + this.mixing.length) * rate); }

	// loudest returns the peaks of the whole at the left and at the right, as one hears it.
	loudest() {
		return this.meters.map((meter) => {
			meter.getFloatTimeDomainData(this.samples ??= new Float32Array(4096));
			let top = 0;
			for (const v of this.samples) if (v > top) top = v; else if (-v > top) top = -v;
			return top;
		});
	}

	// now returns the guide time that is heard; undefined when nothing plays.
	now() {
		return this.began && this.began.from + Math.max(0, this.ctx.currentTime - this.began.zero);
	}

	// stop ends what plays.
	stop() {
		this.turn++;
		this.began = undefined;
		this.peaks = [];
		clearTimeout(this.timer);
		this.node.port.postMessage({ what: "begin", turn: this.turn });
	}

	// close ends the mixer for good.
	close() {
		this.stop();
		this.node.port.postMessage({ what: "close" });
		this.node.disconnect();
	}

	// renderAll gives all that is heard from a guide time on to a context that is rendered
	// instead of played.
	async renderAll(from, frames) {
		const first = Math.round(from * rate), turn = ++this.turn;
		await this.furnish();
		this.node.port.postMessage({ what: "begin", turn });
		for (let at = first; at < first + frames; at += pieceFrames) {
			await Promise.all(await this.#bring(at, Math.min(pieceFrames, first + frames - at), (piece) => this.#send(piece, turn)));
		}
		this.#automate(first, 0);
		[this.began, this.since, this.there] = [{ from, zero: 0 }, first, first + frames];
		const ready = new Promise((done) => { this.answered = done; });
		this.node.port.postMessage({ what: "play", turn, from: first, at: 0, end: first + frames, answer: true });
		await ready;
	}

	// #fill fetches pieces until the next ones have time.
	async #fill(turn) {
		const end = this.#end();
		try {
			while (turn === this.turn && this.next < end && this.next / rate < this.now() + ahead) {
				// Pieces grow: what follows the first one has little time.
				const at = this.next, frames = Math.min(at - this.since < pieceFrames ? firstFrames : pieceFrames, end - at);
				this.next = at + frames;
				await Promise.all(await this.#bring(at, frames, (piece) => this.#send(piece, turn)));
				if (turn === this.turn) this.there = at + frames;
			}
		} catch (error) {
			if (turn === this.turn) this.failed?.(error);
			return;
		}
		if (turn === this.turn && this.next < end) this.timer = setTimeout(() => this.#fill(turn), 200);
	}

	// #automate writes the fades of the whole down, from a frame of guide time that is heard
	// at zero.
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
	}
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
