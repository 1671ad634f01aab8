package sensorlog

import (
	"bufio"
	"bytes"
	"io"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
	"golang.org/x/text/transform"
)

// looked is how much of a log is looked at, in bytes. Chosen: a header of 200
// columns and some dozens of rows fit many times.
const looked = 256 << 10

// decoded returns a log as UTF-8 and the name of its encoding. A byte order
// mark decides; without one, every second byte zero means UTF-16. Bytes that
// are no UTF-8 are read as Windows-1252, which Latin-1 is part of.
func decoded(r io.Reader) (io.Reader, string, error) {
	b := bufio.NewReaderSize(r, 64<<10)
	head, err := b.Peek(4096)
	if err != nil && err != io.EOF {
		return nil, "", err
	}
	utf16 := func(order unicode.Endianness, name string) (io.Reader, string, error) {
		return transform.NewReader(b, unicode.UTF16(order, unicode.UseBOM).NewDecoder()), name, nil
	}
	switch {
	case bytes.HasPrefix(head, []byte{0xEF, 0xBB, 0xBF}):
		_, err := b.Discard(3)
		return transform.NewReader(b, &lenient{}), "utf-8", err
	case bytes.HasPrefix(head, []byte{0xFF, 0xFE}):
		return utf16(unicode.LittleEndian, "utf-16le")
	case bytes.HasPrefix(head, []byte{0xFE, 0xFF}):
		return utf16(unicode.BigEndian, "utf-16be")
	}
	even, odd := 0, 0
	for i, x := range head {
		if x == 0 && i%2 == 0 {
			even++
		} else if x == 0 {
			odd++
		}
	}
	switch n := len(head); {
	case odd*4 > n && even*20 < n:
		return utf16(unicode.LittleEndian, "utf-16le")
	case even*4 > n && odd*20 < n:
		return utf16(unicode.BigEndian, "utf-16be")
	}
	name := "utf-8"
	whole := head
	for len(whole) > 0 && len(head) == 4096 && len(head)-len(whole) < utf8.UTFMax && !utf8.Valid(whole) {
		whole = whole[:len(whole)-1] // the last character may be cut
	}
	if !utf8.Valid(whole) {
		name = "windows-1252"
	}
	return transform.NewReader(b, &lenient{}), name, nil
}

// lenient passes UTF-8 through and reads any other byte as Windows-1252.
type lenient struct{ transform.NopResetter }

// Transform implements transform.Transformer.
func (*lenient) Transform(dst, src []byte, atEOF bool) (nDst, nSrc int, err error) {
	for nSrc < len(src) {
		r, size := rune(src[nSrc]), 1
		if r >= utf8.RuneSelf {
			if !atEOF && !utf8.FullRune(src[nSrc:]) {
				return nDst, nSrc, transform.ErrShortSrc
			}
			if r, size = utf8.DecodeRune(src[nSrc:]); r == utf8.RuneError && size == 1 {
				r = charmap.Windows1252.DecodeByte(src[nSrc])
			}
		}
		if nDst+utf8.RuneLen(r) > len(dst) {
			return nDst, nSrc, transform.ErrShortDst
		}
		nDst += utf8.EncodeRune(dst[nDst:], r)
		nSrc += size
	}
	return nDst, nSrc, nil
}
