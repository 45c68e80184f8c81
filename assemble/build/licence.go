package build

import (
	"embed"
	"path"
	"strings"
)

// The licences, a file for each work that is in the program of any system. Their
// names are those of the modules with _ for /, and the version. The tests compare
// them with the modules; UPDATE_LICENCES=1 go test ./assemble/build writes them.
//
//go:embed licences
var texts embed.FS

const folder = "licences"

// Own says under which licence ripieno itself is. Choosing one is its owners' affair.
const Own = "no licence was chosen yet, so nobody but its owners may pass it on"

// Licence is the licence of one work in this program.
type Licence struct {
	Work string `json:"work"` // a module with its version, or what else it is
	Kind string `json:"kind"` // such as MIT; see [kinds]
	Text string `json:"text"` // whole, with what else its authors ask to be passed on
}

// Licences returns the licences of everything in this program that others made, in order
// of names. It fails only when the program was built without them, which is a bug.
func Licences() ([]Licence, error) {
	files, err := texts.ReadDir(folder)
	if err != nil {
		return nil, err
	}
	var all []Licence
	for _, f := range files {
		data, err := texts.ReadFile(path.Join(folder, f.Name()))
		if err != nil {
			return nil, err
		}
		work := strings.ReplaceAll(strings.TrimSuffix(f.Name(), ".txt"), "_", "/")
		all = append(all, Licence{Work: work, Kind: kindOf(string(data)), Text: string(data)})
	}
	return all, nil
}

// kinds tell licences by words that are in them and in no other, in the order in
// which they are looked for. The names are those of the SPDX list.
var kinds = []struct{ name, words string }{
	{"OFL-1.1", "SIL OPEN FONT LICENSE Version 1.1"},
	{"Apache-2.0", "Apache License Version 2.0"},
	{"Apache-2.0", "Licensed under the Apache License, Version 2.0"},
	{"BSD-3-Clause", "Neither the name"},
	{"BSD-3-Clause", "may not be used to endorse or promote products"},
	{"BSD-3-Clause", "may be used to endorse or promote products"},
	{"BSD-2-Clause", "Redistribution and use in source and binary forms"},
	{"MIT", "Permission is hereby granted, free of charge"},
	{"ISC", "Permission to use, copy, modify, and/or distribute this software"},
}

// kindOf returns the kinds of licences in a text, joined by AND; "" for none.
func kindOf(text string) string {
	text = strings.Join(strings.Fields(text), " ")
	var found []string
	seen := map[string]bool{} // BSD-2-Clause is in BSD-3-Clause
	for _, k := range kinds {
		family, _, _ := strings.Cut(k.name, "-")
		if strings.Contains(text, k.words) && !seen[family] {
			seen[family] = true
			found = append(found, k.name)
		}
	}
	return strings.Join(found, " AND ")
}
