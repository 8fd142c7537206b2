package claimsworlds

import "strings"

// hostileText: files that are not quite CSV.
func hostileText() []twist {
	text := func(name, odd, wish string, change func(csv string) string) twist {
		return twist{"text-" + name, odd, wish, func(s *sheet) { s.raw = change(s.csv()) }}
	}
	return []twist{
		text("byte-order-mark", "the file begins with a byte order mark", "the first column is still found", func(c string) string { return "\ufeff" + c }),
		text("crlf", "lines end with CR LF", "read as usual", func(c string) string { return strings.ReplaceAll(c, "\n", "\r\n") }),
		text("cr-only", "lines end with CR alone", "read, or refused plainly", func(c string) string { return strings.ReplaceAll(c, "\n", "\r") }),
		text("semicolons", "cells are parted by semicolons", "read, or refused saying so", func(c string) string { return strings.ReplaceAll(c, ",", ";") }),
		text("tabs", "cells are parted by tabs", "read, or refused saying so", func(c string) string { return strings.ReplaceAll(c, ",", "\t") }),
		text("no-last-newline", "the last line has no end", "the last row is read", func(c string) string { return strings.TrimSuffix(c, "\n") }),
		text("blank-lines", "blank lines between and at the end", "not read as plants", func(c string) string { return strings.ReplaceAll(c, "\nP2,", "\n\n\nP2,") + "\n\n" }),
		text("ragged-short", "a row has too few cells", "refused by line", func(c string) string { return c + "P99,B1,S1\n" }),
		text("ragged-long", "a row has too many cells", "refused by line", func(c string) string { return strings.Replace(c, "\nP3,", "\nP3,x,y,", 1) }),
		text("open-quote", "a quote is never closed", "refused by line, soon", func(c string) string { return strings.Replace(c, "\nP5,", "\nP5,\"", 1) }),
		text("stray-quote", "a quote stands inside an unquoted cell", "refused by line, or read as written", func(c string) string { return strings.Replace(c, ",peat,", ",pe\"at,", 1) }),
		text("bad-utf8", "a level holds bytes that are no text", "shown safely", func(c string) string { return strings.ReplaceAll(c, ",coir,", ",co\xff\xfeir,") }),
		text("nul", "a level holds a zero byte", "shown safely", func(c string) string { return strings.ReplaceAll(c, ",coir,", ",co\x00ir,") }),
		text("empty-file", "the file is empty", "refused plainly", func(string) string { return "\n" }),
		text("head-only", "a header and no rows", "refused plainly", func(c string) string { return c[:strings.Index(c, "\n")+1] }),
		text("no-head", "the header is missing", "refused plainly", func(c string) string { return c[strings.Index(c, "\n")+1:] }),
		text("head-twice", "the header stands again in the middle", "refused by line", func(c string) string {
			return strings.Replace(c, "\nP20,", "\n"+c[:strings.Index(c, "\n")]+"\nP20,", 1)
		}),
		text("comment", "the first line is a remark beginning with #", "skipped or refused", func(c string) string { return "# harvest of spring\n" + c }),
		text("total-row", "the last row holds totals", "refused or pointed out: it is no plant", func(c string) string { return c + "TOTAL,,,,,9600,,,384,1931,288,14,0\n" }),
	}
}
