package light

import (
	"bytes"
	"debug/elf"
	"encoding/binary"
	"fmt"
	"math/bits"
	"slices"
)

// standIn is a shared library that has the symbols that are asked of another one and
// does nothing: whoever calls one of them is ended by the processor.
type standIn struct {
	name    string // as libraries ask for it, such as "libjack.so.0"
	symbols []symbol
}

// symbol is what a library asks of another.
type symbol struct {
	name, version string // version is "" where libraries are asked for without one
	quiet         bool   // returns 0 instead of ending the process
}

// traps are the instructions that end a process, and those that return 0, for the
// processors that stand-ins are written for.
var traps = map[elf.Machine]struct{ trap, zero []byte }{
	// ud2; xor eax, eax, ret
	elf.EM_X86_64: {[]byte{0x0f, 0x0b}, []byte{0x31, 0xc0, 0xc3}},
	// brk 0; mov w0, 0, ret
	elf.EM_AARCH64: {[]byte{0, 0, 0x20, 0xd4}, []byte{0, 0, 0x80, 0x52, 0xc0, 0x03, 0x5f, 0xd6}},
}

const (
	page       = 1 << 16 // no processor has larger ones
	headerSize = 64
	entrySize  = 56 // of a program header
	symbolSize = 24
)

// image collects the parts of a library one after the other.
type image struct {
	bytes.Buffer
	machine elf.Machine
	names   bytes.Buffer // strings, each ended by a zero
	dynamic []uint64     // pairs of tag and value
}

// bytes returns the library as a file of the format of Linux (System V ABI, chapter 5,
// and the GNU extensions as the loader of glibc 2.36 reads them). The machine must
// be one of traps.
func (s standIn) bytes(machine elf.Machine) []byte {
	m := &image{machine: machine}
	m.Write(make([]byte, headerSize+3*entrySize))
	m.names.WriteByte(0)
	m.note(elf.DT_SONAME, m.name(s.name))
	code := traps[machine]
	m.align(16)
	trap := m.Len()
	m.Write(code.trap)
	m.align(16)
	zero := m.Len()
	m.Write(code.zero)

	buckets := uint32(len(s.symbols)/2 + 1)
	syms := slices.Clone(s.symbols)
	slices.SortFunc(syms, func(a, b symbol) int {
		return int(gnuHash(a.name)%buckets) - int(gnuHash(b.name)%buckets)
	})
	m.hashes(syms, buckets)
	m.symbols(syms, uint64(trap), uint64(zero))
	m.versions(s.name, syms)
	m.note(elf.DT_STRTAB, uint64(m.Len()))
	m.note(elf.DT_STRSZ, uint64(m.names.Len()))
	m.Write(m.names.Bytes())
	m.note(elf.DT_NULL, 0)
	return m.finish()
}

// name adds a string and returns its place among the strings.
func (m *image) name(s string) uint64 {
	at := m.names.Len()
	m.names.WriteString(s)
	m.names.WriteByte(0)
	return uint64(at)
}

// note adds a line to the table from which the loader begins.
func (m *image) note(tag elf.DynTag, value uint64) {
	m.dynamic = append(m.dynamic, uint64(tag), value)
}

func (m *image) align(to int) { m.Write(make([]byte, (to-m.Len()%to)%to)) }

// put writes numbers of fixed size as both processors read them.
func (m *image) put(values ...any) {
	for _, v := range values {
		if err := binary.Write(m, binary.LittleEndian, v); err != nil {
			panic(fmt.Sprintf("light: %T has no fixed size", v)) // a mistake of this package
		}
	}
}

// hashes writes the table by which the loader finds symbols, with a filter by which
// it passes over a library that lacks one: it asks every library for most symbols.
func (m *image) hashes(syms []symbol, buckets uint32) {
	const shift = 6
	words := 1 << bits.Len(uint(len(syms)/4)) // some 16 bits of the filter a symbol
	filter := make([]uint64, words)
	first, chain := make([]uint32, buckets), make([]uint32, len(syms))
	for i, s := range syms {
		h := gnuHash(s.name)
		filter[h/64%uint32(words)] |= 1<<(h%64) | 1<<(h>>shift%64)
		b := h % buckets
		if first[b] == 0 {
			first[b] = uint32(i + 1)
		}
		chain[i] = h &^ 1
		if i+1 == len(syms) || gnuHash(syms[i+1].name)%buckets != b {
			chain[i] |= 1 // the last of its bucket
		}
	}
	m.align(8)
	m.note(elf.DT_GNU_HASH, uint64(m.Len()))
	m.put(buckets, uint32(1), uint32(words), uint32(shift), filter, first, chain)
}

// symbols writes the names and where each is; the first symbol is nothing.
func (m *image) symbols(syms []symbol, trap, zero uint64) {
	m.align(8)
	m.note(elf.DT_SYMTAB, uint64(m.Len()))
	m.note(elf.DT_SYMENT, symbolSize)
	m.put(elf.Sym64{})
	for _, s := range syms {
		at := trap
		if s.quiet {
			at = zero
		}
		m.put(elf.Sym64{Name: uint32(m.name(s.name)), Info: elf.ST_INFO(elf.STB_GLOBAL, elf.STT_FUNC), Shndx: 1,
			Value: at})
	}
}

// versions writes which version of a library each symbol belongs to. Nothing is
// written where no version is asked for.
func (m *image) versions(library string, syms []symbol) {
	const base = 1 // also the number of symbols without a version
	numbers, all := map[string]uint16{"": base}, []string{library}
	for _, s := range syms {
		if numbers[s.version] == 0 {
			all = append(all, s.version)
			numbers[s.version] = uint16(len(all))
		}
	}
	if len(all) == 1 {
		return
	}
	m.align(8)
	m.note(elf.DT_VERSYM, uint64(m.Len()))
	m.put(uint16(0))
	for _, s := range syms {
		m.put(numbers[s.version])
	}
	m.align(8)
	m.note(elf.DT_VERDEF, uint64(m.Len()))
	m.note(elf.DT_VERDEFNUM, uint64(len(all)))
	for i, v := range all {
		const entry, name = 20, 8 // sizes
		flags, next := uint16(0), uint32(entry+name)
		if i == 0 {
			flags = 1 // the library itself
		}
		if i+1 == len(all) {
			next = 0
		}
		m.put(uint16(1), flags, uint16(i+1), uint16(1), elfHash(v), uint32(entry), next, uint32(m.name(v)), uint32(0))
	}
}

// finish adds the loader's table on a page of its own, which it writes to, fills in
// the headers and returns the whole.
func (m *image) finish() []byte {
	code := uint64(m.Len())
	m.align(page)
	at := uint64(m.Len())
	m.put(m.dynamic)
	size := uint64(m.Len()) - at
	out := m.Bytes()
	h := elf.Header64{Type: uint16(elf.ET_DYN), Machine: uint16(m.machine), Version: 1, Phoff: headerSize,
		Ehsize: headerSize, Phentsize: entrySize, Phnum: 3, Shentsize: headerSize}
	copy(h.Ident[:], elf.ELFMAG)
	h.Ident[elf.EI_CLASS], h.Ident[elf.EI_DATA] = byte(elf.ELFCLASS64), byte(elf.ELFDATA2LSB)
	h.Ident[elf.EI_VERSION] = byte(elf.EV_CURRENT)
	var head image
	head.put(h, elf.Prog64{Type: uint32(elf.PT_LOAD), Flags: uint32(elf.PF_R | elf.PF_X), Filesz: code, Memsz: code,
		Align: page})
	for _, kind := range []elf.ProgType{elf.PT_LOAD, elf.PT_DYNAMIC} {
		head.put(elf.Prog64{Type: uint32(kind), Flags: uint32(elf.PF_R | elf.PF_W), Off: at, Vaddr: at, Paddr: at,
			Filesz: size, Memsz: size, Align: page})
	}
	copy(out, head.Bytes())
	return out
}

// gnuHash returns the hash of symbols' names in the GNU extension, Bernstein's.
func gnuHash(name string) uint32 {
	h := uint32(5381)
	for i := range len(name) {
		h = h*33 + uint32(name[i])
	}
	return h
}

// elfHash returns the hash of names in the System V ABI, chapter 5, figure 5-13.
func elfHash(name string) uint32 {
	h := uint32(0)
	for i := range len(name) {
		h = h<<4 + uint32(name[i])
		h ^= h >> 24 & 0xf0
	}
	return h & 0x0fffffff
}
