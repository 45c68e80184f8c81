// Sounds of the desk: pieces of them as buffers, and what plays now. Everything stays
// in pieces of some seconds, so that an hour of sixty players needs no more memory
// than what is about to be heard.
import { samples } from "./server.js";

// rate is that of the mix, so that pieces follow each other without a seam.
export const rate = 48000;

// mostBytes bounds the pieces that are remembered.
const mostBytes = 64e6;

let context;
const pieces = new Map(); // by sound and place; the least recently used first
let bytes = 0;

// warm has the browser start what it needs for sound, so that the first sound need not
// wait for it: in the middle of a task, where it is asked for late.
export function warm() {
	navigator.mediaDevices?.enumerateDevices?.().catch(() => { /* then the first sound waits */ });
	const wake = () => setTimeout(audio);
	for (const kind of ["pointerdown", "keydown"]) addEventListener(kind, wake, { capture: true, once: true });
}

// audio returns the page's audio context. It wakes with the first key or click.
export function audio() {
	context ??= new AudioContext({ sampleRate: rate, latencyHint: "interactive" });
	if (context.state === "suspended") context.resume();
	return context;
}

// fetchPiece returns frames of a sound, one array for each channel, with silence
// before its beginning and behind its end.
export function fetchPiece(sound, from, frames) {
	const key = `${sound.id} ${from} ${frames}`;
	let piece = pieces.get(key);
	if (piece) {
		pieces.delete(key); // it moves to the end
	} else {
		piece = load(sound, from, frames);
		piece.catch(() => pieces.delete(key));
		bytes += 4 * frames * sound.channels;
	}
	pieces.set(key, piece);
	for (const old of pieces.keys()) {
		if (bytes <= mostBytes || old === key) break;
		const [, , length] = old.split(" ");
		bytes -= 4 * Number(length) * sound.channels;
		pieces.delete(old);
	}
	return piece;
}

async function load(sound, from, frames) {
	if (sound.channels === 1 && from >= 0 && from + frames <= sound.frames) return [await samples(sound.id, from, frames)];
	const channels = Array.from({ length: sound.channels }, () => new Float32Array(frames));
	const first = Math.max(0, from), last = Math.min(sound.frames, from + frames);
	if (last <= first) return channels;
	const data = await samples(sound.id, first, last - first);
	const n = Math.floor(data.length / channels.length), shift = first - from;
	channels.forEach((to, c) => {
		for (let i = 0; i < n; i++) to[shift + i] = data[i * channels.length + c];
	});
	return channels;
}

// bufferOf makes a buffer of the channels of a piece.
export function bufferOf(ctx, channels, sampleRate) {
	const buffer = ctx.createBuffer(channels.length, channels[0].length, sampleRate);
	channels.forEach((samples, c) => buffer.copyToChannel(samples, c));
	return buffer;
}

// peakOf returns the largest sample of a piece.
export function peakOf(channels) {
	let top = 0;
	for (const samples of channels) for (const v of samples) if (v > top) top = v; else if (-v > top) top = -v;
	return top;
}

let playing = [];

// playTogether plays pieces at the same time: each is {channels, rate, speed, gain,
// pan, after}. What played before ends. It calls ended when all are over.
export function playTogether(list, ended) {
	stopPlaying();
	const ctx = audio();
	const when = ctx.currentTime + 0.03;
	let left = list.length;
	const mine = list.map((p) => {
		const source = new AudioBufferSourceNode(ctx, { buffer: bufferOf(ctx, p.channels, p.rate), playbackRate: p.speed || 1 });
		const gain = new GainNode(ctx, { gain: p.gain });
		const pan = new StereoPannerNode(ctx, { pan: p.pan || 0 });
		source.connect(gain).connect(pan).connect(ctx.destination);
		source.onended = () => { if (--left === 0 && playing === mine) ended?.(); };
		source.start(when + (p.after || 0));
		return source;
	});
	playing = mine;
	return when;
}

// stopPlaying ends what playTogether plays.
export function stopPlaying() {
	const old = playing;
	playing = [];
	for (const source of old) source.stop();
}
