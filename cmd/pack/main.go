// Command pack puts a folder into an archive of which every byte follows from the
// files: pack SECONDS ARCHIVE FOLDER, with the archive's kind by its ending, .tar.gz or
// .zip, and the time of everything in it in seconds since 1970. Files are in the order
// of their names, owned by nobody, and may be run when their owner may run them.
// cmd/release.sh calls it.
package main

import (
	"archive/tar"
	"archive/zip"
	"compress/gzip"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"
)

func main() {
	if err := pack(os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, "error:", err)
		os.Exit(1)
	}
}

func pack(args []string) error {
	if len(args) != 3 {
		return errors.New("usage: pack SECONDS ARCHIVE FOLDER")
	}
	seconds, err := strconv.ParseInt(args[0], 10, 64)
	if err != nil {
		return err
	}
	out, err := os.Create(args[1])
	if err != nil {
		return err
	}
	at := time.Unix(seconds, 0).UTC()
	if strings.HasSuffix(args[1], ".zip") {
		err = writeZip(out, args[2], at)
	} else {
		err = writeTar(out, args[2], at)
	}
	return errors.Join(err, out.Close())
}

// files calls add with every ordinary file of a folder in the order of names, which
// are as in the archive: with the folder's own name in front, and slashes.
func files(folder string, add func(name string, mode fs.FileMode, data []byte) error) error {
	top := filepath.Dir(filepath.Clean(folder))
	return filepath.WalkDir(folder, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		info, err := d.Info()
		if err != nil {
			return err
		}
		if !info.Mode().IsRegular() {
			return fmt.Errorf("%s is no ordinary file", path)
		}
		data, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		name, err := filepath.Rel(top, path)
		if err != nil {
			return err
		}
		mode := fs.FileMode(0o644)
		if info.Mode()&0o100 != 0 {
			mode = 0o755
		}
		return add(filepath.ToSlash(name), mode, data)
	})
}

// writeTar writes a tape archive (POSIX.1-1988), compressed.
func writeTar(w io.Writer, folder string, at time.Time) error {
	zw, err := gzip.NewWriterLevel(w, gzip.BestCompression)
	if err != nil {
		return err
	}
	tw := tar.NewWriter(zw)
	err = files(folder, func(name string, mode fs.FileMode, data []byte) error {
		err := tw.WriteHeader(&tar.Header{Name: name, Mode: int64(mode), Size: int64(len(data)), ModTime: at,
			Format: tar.FormatUSTAR})
		if err != nil {
			return err
		}
		_, err = tw.Write(data)
		return err
	})
	return errors.Join(err, tw.Close(), zw.Close())
}

// writeZip writes a ZIP file.
func writeZip(w io.Writer, folder string, at time.Time) error {
	zw := zip.NewWriter(w)
	err := files(folder, func(name string, mode fs.FileMode, data []byte) error {
		h := &zip.FileHeader{Name: name, Method: zip.Deflate, Modified: at}
		h.SetMode(mode)
		fw, err := zw.CreateHeader(h)
		if err != nil {
			return err
		}
		_, err = fw.Write(data)
		return err
	})
	return errors.Join(err, zw.Close())
}
