package utter

import "strconv"

var ones = map[string]float64{
	"zero": 0, "one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "seven": 7, "eight": 8, "nine": 9, "ten": 10,
	"eleven": 11, "twelve": 12, "thirteen": 13, "fourteen": 14, "fifteen": 15, "sixteen": 16, "seventeen": 17, "eighteen": 18, "nineteen": 19,
}

var tens = map[string]float64{
	"twenty": 20, "thirty": 30, "forty": 40, "fourty": 40, "fifty": 50, "sixty": 60, "seventy": 70, "eighty": 80, "ninety": 90,
}

// smallWord is the largest number in words that counts only with a unit or a
// name beside it: "one of them" is no value. Chosen.
const smallWord = 12

// spelled replaces numbers in words by number tokens.
func spelled(in []token) []token {
	var out []token
	for i := 0; i < len(in); {
		if t, n := spelledAt(in, i); n > 0 {
			out = append(out, t)
			i += n
			continue
		}
		out = append(out, in[i])
		i++
	}
	return out
}

// spanAt reads "an hour", "half an hour" and "a quarter of an hour": the
// number, and how many tokens stand for it.
func spanAt(in []token, i int) (string, int) {
	unit := func(k int) bool { return minutesOf[unitWords[wordAt(in, k)]] != 0 && len(wordAt(in, k)) > 2 }
	article := func(k int) bool { w := wordAt(in, k); return w == "a" || w == "an" }
	switch w := wordAt(in, i); {
	case w == "half" && article(i+1) && unit(i+2):
		return "0.5", 2
	case w == "quarter" && wordAt(in, i+1) == "of" && article(i+2) && unit(i+3):
		return "0.25", 3
	case w == "quarter" && unit(i+1):
		return "0.25", 1
	case article(i) && wordAt(in, i+1) == "quarter" && wordAt(in, i+2) == "of" && article(i+3) && unit(i+4):
		return "0.25", 4
	case article(i) && unit(i+1):
		return "1", 1
	}
	return "", 0
}

// spelledAt reads a number in words at i, and how many tokens it has.
func spelledAt(in []token, i int) (token, int) {
	if raw, n := spanAt(in, i); n > 0 {
		t := token{kind: num, spelled: true, start: in[i].start, end: in[i+n-1].end, raw: raw, text: raw}
		t.value, _ = strconv.ParseFloat(raw, 64)
		return t, n
	}
	v, n := wholeAt(in, i)
	if n == 0 {
		return token{}, 0
	}
	raw := strconv.FormatFloat(v, 'f', -1, 64)
	if wordAt(in, i+n) == "point" { // one point two six five
		digits := ""
		k := i + n + 1
		for ; ; k++ {
			d, ok := ones[wordAt(in, k)]
			if !ok || d > 9 {
				break
			}
			digits += strconv.Itoa(int(d))
		}
		if digits == "" {
			return token{}, 0
		}
		raw += "." + digits
		n = k - i
	}
	t := token{kind: num, spelled: true, start: in[i].start, end: in[i+n-1].end, raw: raw}
	if t.text = raw; n == 1 {
		t.text = in[i].text // "one" also counts as a word: "have one"
	}
	t.value, _ = strconv.ParseFloat(raw, 64)
	return t, n
}

func wordAt(in []token, i int) string {
	if i < 0 || i >= len(in) || in[i].kind != word {
		return ""
	}
	return in[i].text
}

// wholeAt reads "forty nine", "a hundred and twenty five", "seven hundred
// fifty", "three thousand six hundred".
func wholeAt(in []token, i int) (float64, int) {
	total, n := 0.0, 0
	if (wordAt(in, i) == "a" || wordAt(in, i) == "one") && wordAt(in, i+1) == "hundred" {
		total, n = 100, 2
	} else {
		v, k := belowHundred(in, i)
		if k == 0 {
			return 0, 0
		}
		total, n = v, k
		if wordAt(in, i+n) == "thousand" {
			total, n = total*1000, n+1
			h, k := belowHundred(in, i+n)
			if k > 0 && wordAt(in, i+n+k) == "hundred" {
				total, n = total+h*100, n+k+1
			} else if k > 0 {
				return total + h, n + k
			}
		} else if wordAt(in, i+n) == "hundred" {
			total, n = total*100, n+1
		} else {
			return total, n
		}
	}
	rest := i + n
	if wordAt(in, rest) == "and" {
		rest++
	}
	if v, k := belowHundred(in, rest); k > 0 {
		return total + v, rest + k - i
	}
	return total, n
}

func belowHundred(in []token, i int) (float64, int) {
	w := wordAt(in, i)
	if v, ok := ones[w]; ok {
		return v, 1
	}
	v, ok := tens[w]
	if !ok {
		return 0, 0
	}
	if u, ok := ones[wordAt(in, i+1)]; ok && u > 0 && u < 10 {
		return v + u, 2
	}
	return v, 1
}
