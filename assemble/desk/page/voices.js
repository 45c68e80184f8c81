// Where voices are added up: apart from the page, so that nothing the page does is heard.
// It runs in the browser's thread for sound, 128 frames at a time. What plays when is
// counted in frames of guide time, so a voice that comes late joins in step.
//
// The page sends: begin (forget what plays), play (a frame of guide time, to be heard at a
// frame of the context; what plays already leaps there), piece (samples of several voices), set (factors), end. It is sent
// how loud every strip is and where it is.

const block = 128;

// glide is how much of the way a factor goes in one block: time constant 10 ms.
const glide = 1 - Math.exp(-block / (0.01 * sampleRate));

// every is how many blocks lie between two reports, some 30 ms.
const every = 12;

class Voices extends AudioWorkletProcessor {
	constructor({ processorOptions }) {
		super();
		this.strips = Array.from({ length: processorOptions.strips }, () => new Strip());
		this.behind = processorOptions.behind; // frames for which pieces stay when they were heard
		this.turn = 0;
		this.alive = true;
		this.stop();
		this.port.onmessage = ({ data }) => this.#take(data);
	}

	// stop forgets what plays.
	stop() {
		this.pieces = [];
		this.from = this.at = this.end = undefined;
		this.gap = 0;
	}

	#take(message) {
		const { what, turn } = message;
		if (what === "set") message.strips.forEach((s, i) => this.strips[i].set(s, message.now));
		if (what === "close") this.alive = false;
		if (what === "begin") {
			this.turn = turn;
			this.stop();
		}
		if (turn === this.turn && what === "piece") this.#keep(message);
		if (turn === this.turn && what === "play") [this.from, this.at, this.end] = [message.from, message.at, message.end];
		if (message.answer) this.port.postMessage({ answer: message.answer });
	}

	// #keep puts voices into the piece they belong to, which may be there already.
	#keep({ from, frames, channels, parts }) {
		let piece = this.pieces.find((p) => p.from === from);
		if (!piece) {
			piece = { from, to: from + frames, voices: [] };
			this.pieces.push(piece);
			this.pieces.sort((a, b) => a.from - b.from);
		}
		for (const [strip, skip, at, length] of parts) {
			piece.voices.push({ strip: this.strips[strip], at, to: at + length, skip: skip - at, channels });
		}
	}

	process(inputs, outputs) {
		if (this.from === undefined) return this.alive;
		const [dry, room] = outputs, n = dry[0].length;
		for (const s of this.strips) s.prepare(this.from + currentFrame - this.at, n);
		for (let i = Math.max(0, this.at - currentFrame); i < n;) {
			const guide = this.from + currentFrame + i - this.at;
			if (guide >= this.end) break;
			while (this.pieces.length && this.pieces[0].to <= guide - this.behind) this.pieces.shift();
			const piece = this.pieces.find((p) => p.to > guide);
			if (!piece || piece.from > guide) {
				this.gap += n - i;
				break;
			}
			const to = Math.min(n, i + Math.min(piece.to, this.end) - guide);
			for (const v of piece.voices) v.strip.add(v, guide - piece.from, i, to, n, dry, room);
			i = to;
		}
		this.#report();
		return this.alive;
	}

	#report() {
		this.blocks = (this.blocks || 0) + 1;
		const ended = this.from + currentFrame - this.at >= this.end;
		if (this.blocks % every && !ended) return;
		this.port.postMessage({ turn: this.turn, peaks: this.strips.map((s) => s.readPeak()), gap: this.gap, ended });
		if (ended) this.stop();
	}
}

// Strip is what is applied to one take: its factors from every channel to both sides, what
// it sends to the room, and the lifts of solos.
class Strip {
	gain = 0; // of the moment, and where it goes
	toGain = 0;
	ways = new Float64Array(4); // left from first, left from second, right from first, right from second
	toWays = new Float64Array(4);
	send = 0;
	toSend = 0;
	lifts = [];
	peak = 0;
	was = new Float64Array(6); // at the beginning of the block: four ways, send, gain
	step = new Float64Array(6); // for every frame

	set({ gain, ways, send, lifts }, now) {
		[this.toGain, this.toSend, this.lifts] = [gain, send, lifts];
		ways.forEach((w, i) => { this.toWays[i] = w; });
		if (!now) return;
		[this.gain, this.send] = [gain, send];
		this.ways.set(this.toWays);
	}

	// prepare finds the factors of a block that begins at a frame of guide time.
	prepare(guide, n) {
		const lift = this.lifts.length ? [liftAt(this.lifts, guide / sampleRate), liftAt(this.lifts, (guide + n) / sampleRate)] : [1, 1];
		const begin = this.gain * lift[0];
		this.gain += glide * (this.toGain - this.gain);
		const end = this.gain * lift[1];
		for (let k = 0; k < 4; k++) {
			const way = this.ways[k];
			this.ways[k] += glide * (this.toWays[k] - way);
			this.was[k] = way * begin;
			this.step[k] = (this.ways[k] * end - this.was[k]) / n;
		}
		this.was[4] = this.send;
		this.send += glide * (this.toSend - this.send);
		this.step[4] = (this.send - this.was[4]) / n;
		this.was[5] = Math.max(begin, end);
	}

	// add adds the frames [from, to) of the block, which lie at a frame of the piece.
	add(voice, at, from, to, n, dry, room) {
		const begin = Math.max(from, from + voice.at - at), end = Math.min(to, from + voice.to - at);
		if (begin >= end) return;
		const skip = at + voice.skip - from;
		for (let c = 0; c < voice.channels.length; c++) {
			this.#mix(voice.channels[c], skip, begin, end, this.was[c], this.step[c], this.was[2 + c], this.step[2 + c], dry, room);
		}
	}

	// #mix adds one channel to both sides, by factors at the beginning of the block and for
	// every frame of it.
	#mix(x, skip, begin, end, left, moreLeft, right, moreRight, [toLeft, toRight], room) {
		if (left === 0 && right === 0 && moreLeft === 0 && moreRight === 0) return;
		let top = 0, l = left + begin * moreLeft, r = right + begin * moreRight;
		for (let i = begin; i < end; i++) {
			const v = x[skip + i];
			toLeft[i] += v * l;
			toRight[i] += v * r;
			l += moreLeft;
			r += moreRight;
			top = Math.max(top, Math.abs(v));
		}
		this.peak = Math.max(this.peak, top * this.was[5]);
		const send = this.was[4], more = this.step[4];
		if (send === 0 && more === 0) return;
		l = left + begin * moreLeft;
		r = right + begin * moreRight;
		for (let i = begin, s = send + begin * more; i < end; i++) {
			const v = x[skip + i] * s;
			room[0][i] += v * l;
			room[1][i] += v * r;
			l += moreLeft;
			r += moreRight;
			s += more;
		}
	}

	readPeak() {
		const top = this.peak;
		this.peak = 0;
		return top;
	}
}

// liftAt returns the factor of all lifts at a guide time. A straight line of decibels is
// what the program's mix has.
function liftAt(lifts, at) {
	let db = 0;
	for (const l of lifts) {
		if (at <= l.from - l.ramp || at >= l.to + l.ramp) continue;
		const share = at < l.from ? (at - l.from + l.ramp) / l.ramp : at > l.to ? (l.to + l.ramp - at) / l.ramp : 1;
		db += l.gain_db * share;
	}
	return db ? Math.pow(10, db / 20) : 1;
}

registerProcessor("voices", Voices);
