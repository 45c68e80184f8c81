package build

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
)

// texts that come with a work and have to be passed on, in the order in which they
// are written.
var passedOn = []string{"LICENSE", "LICENSE.txt", "LICENCE", "LICENSE.md", "COPYING", "SIL-LICENSE", "NOTICE",
	"NOTICE.txt",
	"PATENTS", "THIRD_PARTY_LICENSES"}

// works returns the text of every work that is in the program of some system, by
// the name of its file.
func works(t *testing.T) map[string][]byte {
	t.Helper()
	all := map[string][]byte{}
	for _, system := range []string{"linux", "darwin", "windows"} {
		cmd := exec.Command("go", "list", "-deps", "-f", "{{with .Module}}{{.Path}}\t{{.Version}}\t{{.Dir}}{{end}}",
			"ripieno/cmd/ripieno")
		cmd.Env = append(os.Environ(), "GOOS="+system, "GOARCH=amd64", "CGO_ENABLED=0")
		out, err := cmd.Output()
		if err != nil {
			t.Fatalf("go list: %v", err)
		}
		for line := range strings.Lines(string(out)) {
			f := strings.Split(strings.TrimSpace(line), "\t")
			if len(f) == 3 && f[1] != "" {
				all[strings.ReplaceAll(f[0], "/", "_")+"@"+f[1]+".txt"] = collect(t, f[2])
			}
		}
	}
	// The version of Go is that of whoever builds.
	all["Go.txt"] = collect(t, goroot(t))
	// The cascade is data of pigo that is kept in this repository.
	cascade, err := os.ReadFile("../../layout/face/facefinder.LICENSE")
	if err != nil {
		t.Fatal(err)
	}
	all["face-cascade.txt"] = cascade
	fonts, err := exec.Command("go", "list", "-m", "-f", "{{.Dir}}/font/gofont", "golang.org/x/image").Output()
	if err != nil {
		t.Fatal(err)
	}
	readme, err := os.ReadFile(filepath.Join(strings.TrimSpace(string(fonts)), "ttfs", "README"))
	if err != nil {
		t.Fatal(err)
	}
	all["Go-fonts.txt"] = readme
	return all
}

func goroot(t *testing.T) string {
	t.Helper()
	out, err := exec.Command("go", "env", "GOROOT").Output()
	if err != nil {
		t.Fatal(err)
	}
	return strings.TrimSpace(string(out))
}

// collect joins the texts of a folder.
func collect(t *testing.T, dir string) []byte {
	t.Helper()
	var b bytes.Buffer
	for _, name := range passedOn {
		data, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			continue
		}
		if b.Len() > 0 {
			b.WriteString("\n---- " + name + " ----\n\n")
		}
		b.Write(bytes.TrimSpace(bytes.ReplaceAll(data, []byte("\r\n"), []byte("\n"))))
		b.WriteByte('\n')
	}
	return b.Bytes()
}

// Every work in the program is there with its licence, none is there that is not in
// it, and all are of kinds that let this program be passed on.
func TestLicencesAreThoseOfTheProgram(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("the folder of modules is compared where the source is")
	}
	want := works(t)
	if len(want) < 20 {
		t.Fatalf("only %d works were found", len(want))
	}
	if os.Getenv("UPDATE_LICENCES") != "" {
		if err := os.RemoveAll(folder); err != nil {
			t.Fatal(err)
		}
		if err := os.Mkdir(folder, 0o777); err != nil {
			t.Fatal(err)
		}
		for name, text := range want {
			if err := os.WriteFile(filepath.Join(folder, name), text, 0o666); err != nil {
				t.Fatal(err)
			}
		}
		t.Skip("written; run again to compare")
	}
	for name, text := range want {
		if len(text) == 0 {
			t.Errorf("%s has no licence", name)
		}
		got, err := os.ReadFile(filepath.Join(folder, name))
		switch {
		case err != nil:
			t.Errorf("%s: no licence is kept; UPDATE_LICENCES=1 go test ./assemble/build writes it", name)
		case !bytes.Equal(got, text):
			t.Errorf("%s is not what the module says; UPDATE_LICENCES=1 go test ./assemble/build writes it", name)
		}
	}
	all, err := Licences()
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range all {
		if want[strings.ReplaceAll(l.Work, "/", "_")+".txt"] == nil {
			t.Errorf("the licence of %s is kept, and the program has no such work", l.Work)
		}
		if l.Kind == "" || strings.Contains(l.Text, "GENERAL PUBLIC LICENSE") {
			t.Errorf("%s: the licence is of no known kind: %.200q", l.Work, l.Text)
		}
	}
}

// Kinds are told by the words that tell them apart.
func TestKindsOfLicences(t *testing.T) {
	for text, want := range map[string]string{
		"Redistribution and use in source and\n binary forms ... Neither the name of X":   "BSD-3-Clause",
		"Redistribution and use in source and binary forms, with or without modification": "BSD-2-Clause",
		"Permission is hereby granted, free of charge, to any person":                     "MIT",
		"Apache License\n   Version 2.0, January 2004 ... Permission is hereby granted, free of " +
			"charge": "Apache-2.0 AND MIT",
		"all rights reserved": "",
	} {
		if got := kindOf(text); got != want {
			t.Errorf("%.40q is %q, want %q", text, got, want)
		}
	}
}
