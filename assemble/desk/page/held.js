// What a hand has set. An answer of the desk may be older than the last key: what was set
// holds until an answer to a question that was asked after it had been written.

// holding returns what holds values. A value goes by a name, such as that of a take, and
// by its key in the thing of that name.
export function holding() {
	const all = new Map(); // by name and key: { name, key, value, written }
	const id = (name, key) => JSON.stringify([name, key]);
	return {
		// hold keeps values from now on, in place of those held before.
		hold(name, values) {
			for (const [key, value] of Object.entries(values)) all.set(id(name, key), { name, key, value, written: false });
		},
		// sent returns what is to be called when values as they are now were answered,
		// whatever the answer is: a refusal too lets the desk's word count again.
		sent(name, keys) {
			const list = keys.map((key) => all.get(id(name, key)));
			return () => list.forEach((one) => { if (one) one.written = true; });
		},
		// asked is called when the desk is asked for everything. It returns what is to be
		// called with the answer there: what was written before the question, the answer has.
		asked() {
			const old = [...all].filter(([, one]) => one.written);
			return () => old.forEach(([key, one]) => { if (all.get(key) === one) all.delete(key); });
		},
		// has tells whether a value is held.
		has: (name, key) => all.has(id(name, key)),
		// onto gives a thing the values that are held for it.
		onto(name, thing) {
			for (const one of all.values()) if (one.name === name) thing[one.key] = one.value;
		},
	};
}
