package store

import (
	"crypto/sha256"
	"encoding"
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"time"
)

// maxDepth ends the walk through a value that contains itself.
const maxDepth = 32

// longBytes is the length from which a byte slice is written as its hash.
const longBytes = 64

// encode writes a value as text for a key. Two values of one type have one
// text only when they are equal (every NaN counts as equal). It walks by
// reflection and not through JSON because JSON drops unexported fields in
// silence, and an ingredient that is missing from a key is the worst fault a
// store can have: it serves old outputs for new arguments.
func encode(v any) (string, error) {
	var b strings.Builder
	if err := encodeValue(&b, reflect.ValueOf(v), 0); err != nil {
		return "", err
	}
	return b.String(), nil
}

func encodeValue(b *strings.Builder, v reflect.Value, depth int) error {
	if depth > maxDepth {
		return errors.New("nested too deeply or contains itself")
	}
	if !v.IsValid() {
		b.WriteString("nil")
		return nil
	}
	if done, err := encodeText(b, v); done || err != nil {
		return err
	}
	switch v.Kind() {
	case reflect.Bool:
		b.WriteString(strconv.FormatBool(v.Bool()))
	case reflect.Int, reflect.Int8, reflect.Int16, reflect.Int32, reflect.Int64:
		b.WriteString(strconv.FormatInt(v.Int(), 10))
	case reflect.Uint, reflect.Uint8, reflect.Uint16, reflect.Uint32, reflect.Uint64, reflect.Uintptr:
		b.WriteString(strconv.FormatUint(v.Uint(), 10))
	case reflect.Float32, reflect.Float64:
		// The shortest text that reads back to the same number.
		b.WriteString(strconv.FormatFloat(v.Float(), 'g', -1, v.Type().Bits()))
	case reflect.Complex64, reflect.Complex128:
		b.WriteString(strconv.FormatComplex(v.Complex(), 'g', -1, v.Type().Bits()))
	case reflect.String:
		b.WriteString(strconv.Quote(v.String()))
	case reflect.Pointer, reflect.Interface:
		return encodeElem(b, v, depth)
	case reflect.Slice, reflect.Array:
		return encodeList(b, v, depth)
	case reflect.Map:
		return encodeMap(b, v, depth)
	case reflect.Struct:
		return encodeStruct(b, v, depth)
	default:
		return fmt.Errorf("a %s cannot be part of a key", v.Type())
	}
	return nil
}

// encodeText uses a type's own text form where it has one. Methods of values
// in unexported fields cannot be called; those are walked instead.
func encodeText(b *strings.Builder, v reflect.Value) (bool, error) {
	if !v.CanInterface() {
		if v.Type() == reflect.TypeFor[time.Time]() {
			return false, errors.New("a time in an unexported field cannot be part of a key")
		}
		return false, nil
	}
	if v.Kind() == reflect.Pointer || v.Kind() == reflect.Interface {
		return false, nil // their element is asked
	}
	m, ok := v.Interface().(encoding.TextMarshaler)
	if !ok {
		return false, nil
	}
	text, err := m.MarshalText()
	b.WriteString(strconv.Quote(string(text)))
	return true, err
}

func encodeElem(b *strings.Builder, v reflect.Value, depth int) error {
	if v.IsNil() {
		b.WriteString("nil")
		return nil
	}
	if v.Kind() == reflect.Interface {
		// Two types may share a text; behind an interface the type is news.
		b.WriteString(v.Elem().Type().String())
	} else {
		b.WriteByte('&')
	}
	return encodeValue(b, v.Elem(), depth+1)
}

func encodeList(b *strings.Builder, v reflect.Value, depth int) error {
	if v.Type().Elem().Kind() == reflect.Uint8 {
		encodeBytes(b, v)
		return nil
	}
	b.WriteByte('[')
	for i := range v.Len() {
		if i > 0 {
			b.WriteByte(' ')
		}
		if err := encodeValue(b, v.Index(i), depth+1); err != nil {
			return fmt.Errorf("element %d: %w", i, err)
		}
	}
	b.WriteByte(']')
	return nil
}

func encodeBytes(b *strings.Builder, v reflect.Value) {
	raw := make([]byte, v.Len())
	for i := range raw {
		raw[i] = byte(v.Index(i).Uint())
	}
	if len(raw) <= longBytes {
		fmt.Fprintf(b, "0x%x", raw)
		return
	}
	fmt.Fprintf(b, "%d bytes, sha256 %x", len(raw), sha256.Sum256(raw))
}

func encodeMap(b *strings.Builder, v reflect.Value, depth int) error {
	pairs := make([]string, 0, v.Len())
	for it := v.MapRange(); it.Next(); {
		var p strings.Builder
		if err := encodeValue(&p, it.Key(), depth+1); err != nil {
			return err
		}
		p.WriteByte(':')
		if err := encodeValue(&p, it.Value(), depth+1); err != nil {
			return err
		}
		pairs = append(pairs, p.String())
	}
	slices.Sort(pairs) // Go walks maps in random order
	b.WriteString("map[" + strings.Join(pairs, " ") + "]")
	return nil
}

// omitZero, as the tag key of a field, leaves the field out of the key while it is zero:
// a type can get such a field without moving what was stored before.
const omitZero = "omitzero"

// isEmpty reports whether a value is zero or a list of nothing.
func isEmpty(v reflect.Value) bool {
	return v.IsZero() || v.Kind() == reflect.Slice && v.Len() == 0
}

func encodeStruct(b *strings.Builder, v reflect.Value, depth int) error {
	b.WriteByte('{')
	written := 0
	for i := range v.NumField() {
		if v.Type().Field(i).Tag.Get("key") == omitZero && isEmpty(v.Field(i)) {
			continue
		}
		if written++; written > 1 {
			b.WriteByte(' ')
		}
		name := v.Type().Field(i).Name
		b.WriteString(name + ":")
		if err := encodeValue(b, v.Field(i), depth+1); err != nil {
			return fmt.Errorf("field %s: %w", name, err)
		}
	}
	b.WriteByte('}')
	return nil
}
