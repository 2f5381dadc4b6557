"""Bad values by hand, as JSON text: what people, spreadsheets, clocks and attackers put where something else belongs."""

import json

_NUMBERS = """
0 -0 1 -1 2 7 99 100 101 500 501 1000 32767 32768 65536 2147483647 2147483648 4294967296 9007199254740991 9007199254740993
9223372036854775807 9223372036854775808 -9223372036854775808 -9223372036854775809 18446744073709551616 1e2 1E+2 1e-2 0.1
0.30000000000000004 1.0 1.5 -1.5 1e15 1e16 1e22 1e23 1e99 1e308 1.8e308 1e309 -1e309 1e999 1e-400 5e-324 0e0 0.00 10.00
00 01 +1 .5 1. 0x10 0b1 1_000 1,000 NaN -NaN Infinity -Infinity nan inf null true false True None undefined
""".split()
_LONG_NUMBERS = ["1" + "0" * 30, "9" * 400, "1" * 5000, "0." + "0" * 500 + "1", "-" + "9" * 100]
_SHAPES = [
    "[]", "{}", "[[]]", "[null]", "[{}]", "[1, 2]", '["a", "a"]', '{"a": 1}', '{"": 1}', '{"id": null}', '{"$ref": "#"}',
    '{"__proto__": {"a": 1}}', '{"a": 1, "a": 2}', "[" * 30 + "]" * 30, "[" * 70 + "]" * 70, "[" * 5000 + "]" * 5000,
    '{"a":' * 55 + "1" + "}" * 55, "[" + "0," * 6000 + "0]", "", " ", "//", "'a'", '"', '"a', '"\\x41"', '"\\u12"',
    '"\\ud800"', '"\\udc00\\ud800"', '"a\\u0000b"', '"\\u0000"', '"\\ud83d\\ude00"', '"\\ufffe"', '"\\uffff"',
]  # fmt: skip
_MONEY = """
-1.00 -0.00 0.00 0 00.00 1 1. .50 1.0 1.00 1.000 10.001 1,00 1.000,00 1,000.00 1'000 1_000 1e2 1E2 0x10 $1.00 1.00USD 1.00€ +1.00
1..00 1.0.0 --1 1- NaN Infinity 1/2 ½ ١٫٠٠ １．００ 𝟏.𝟎𝟎 一 Ⅳ 999999999999.99 9999999999999999999.99 92233720368547758.07
92233720368547758.08 0.000000000000000000001 true
""".split()
_DATES = """
2026-11-25 2026-02-29 2026-02-30 2026-13-01 2026-00-10 2026-11-00 2026-11-31 0000-01-01 0001-01-01 1970-01-01 1999-12-31
2000-01-01 2099-12-31 2100-01-01 9999-12-31 10000-01-01 -2026-01-01 +002026-01-01 2026-1-1 20261125 2026-W48-3 2026-330
2026-11 2026 26-11-25 25.11.2026 11/25/2026 2026/11/25 ２０２６-11-25 today 2026-11-25T 1764028800 1764028800.5
2026-11-25T12:00 2026-11-25T12:00:00 2026-11-25T12:00:00Z 2026-11-25t12:00:00z 2026-11-25T12:00:00+00:00
2026-11-25T12:00:00-00:00 2026-11-25T12:00:00+14:00 2026-11-25T12:00:00+14:01 2026-11-25T12:00:00+24:00
2026-11-25T12:00:00+99:99 2026-11-25T12:00:00+0530 2026-11-25T12:00:00+5 2026-11-25T24:00:00Z 2026-11-25T23:59:60Z
2026-11-25T25:00:00Z 2026-11-25T12:60:00Z 2026-11-25T12:00:00.123456789123Z 2026-11-25T12:00:00,5Z 1999-12-31T23:59:59Z
2000-01-01T00:00:00+14:00 2099-12-31T23:59:59-12:00 2100-01-01T00:00:00Z 0001-01-01T00:00:00+14:00
9999-12-31T23:59:59-14:00 2026-03-08T02:30 2026-11-01T01:30 24:00 23:59 23:60 7:00 07:00:00 07:00:30 -1:00 12:00pm noon
""".split()
_IDS = """
00000000-0000-0000-0000-000000000000 ffffffff-ffff-ffff-ffff-ffffffffffff 00000000-0000-4000-8000-000000000000
01932C5A-7B7E-7C1E-8A54-0242AC120002 {01932c5a-7b7e-7c1e-8a54-0242ac120002} urn:uuid:01932c5a-7b7e-7c1e-8a54-0242ac120002
01932c5a7b7e7c1e8a540242ac120002 01932c5a-7b7e-7c1e-8a54-0242ac12000 01932c5a-7b7e-7c1e-8a54-0242ac1200020
01932c5a-7b7e-7c1e-8a54-0242ac12000g 1 -1 null undefined me * %2e%2e
""".split()
_NAMES = """
Mars/Olympus ../../etc/passwd /etc/localtime localtime posixrules right/UTC Etc/GMT+15 UTC0 america/new_york Factory
America/New_York/ EST5EDT XYZ usd US USDD XXX XAU BTC €  mon MON monday tues mon,tue 0 8 owner admin root OWNER
FREQ=SECONDLY FREQ=WEEKLY FREQ=WEEKLY;BYDAY=XX FREQ=WEEKLY;INTERVAL=0 FREQ=WEEKLY;INTERVAL=99999999999
FREQ=DAILY;COUNT=1000000000 FREQ=DAILY;COUNT=1;UNTIL=20270101 FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=30 FREQ=YEARLY;BYWEEKNO=53
FREQ=MONTHLY;BYSETPOS=-366 RRULE:FREQ=DAILY FREQ=DAILY;FREQ=DAILY freq=daily FREQ=DAILY; FREQ= ; BYDAY=MO
""".split()
_TEXTS = [
    "", " ", "  a  ", "\t", "\n", "\r\n", "a\nb", "a\rb", "\x0b", "\x1b[31m", "\x7f", "\x85", "\xa0", "\u200b", "\u2028", "\u202ea",
    "\ufeff", "\u2066", "e\u0301", "a" + "\u0301" * 300, "\U0001f3b1", "\U0001f468\u200d\U0001f469", "\U0010ffff", "ﬁ", "İ", "ß",
    "Ω≈ç√∫", "سلام", "田中さん", "x" * 200, "x" * 201, "x" * 3000, "x" * 100_000, "é" * 1000, "\U0001f3b1" * 1000,
    "'", '"', "''", "\\", "\\\\", "%", "_", "%s%s%n", "{0}", "{}", "${7*7}", "{{7*7}}", "#{1}", "`id`", "$(id)", "|id", "; id",
    "' OR '1'='1", "'; DROP TABLE venue; --", "1; SELECT pg_sleep(9)", "1 UNION SELECT 1", "\\'; --", "/*", "--", "E'\\x00'",
    "=1+1", "+1", "-1+1", "@SUM(A1)", "\t=1", "=HYPERLINK(\"http://example.com\")", "a,b", "a;b", 'a"b', "<b>", "</script><script>",
    "<!--", "<?xml?>", "&lt;", "&#0;", "%00", "%0a", "%c0%ae", "..", "../", "..\\", "file:///etc/passwd", "//example.com", "C:\\",
    "CON", "(a+)+$", "a" * 40 + "!", "[", "(", "*", "?", ".", ",", "null", "NULL", "None", "undefined", "true", "false", "nan",
    "-", "--help", "@", "!", "~", "#", "&", "a=b", "a&b=c", "bz_nobodys", "Bearer x",
]  # fmt: skip
_CONTROLS = [f'"a\\u{code:04x}"' for code in range(1, 32)]

STRINGS = tuple(dict.fromkeys([*_MONEY, *_DATES, *_IDS, *_NAMES, *_TEXTS, *_NUMBERS]))
"""As they stand in an address or in a header."""
VALUES = tuple(
    dict.fromkeys([*_NUMBERS, *_LONG_NUMBERS, *_SHAPES, *_CONTROLS, *(json.dumps(text) for text in STRINGS)])
)
"""As they stand in a message: JSON, or not even that."""
