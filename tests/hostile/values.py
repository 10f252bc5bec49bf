"""What somebody who means harm, or a broken program, puts into a box."""

#: Markup that would show as an element of this name if a page did not escape it.
ELEMENT = "x-planted"
MARKUP = f'<{ELEMENT} onload="a()">"\'></textarea></script><script>{ELEMENT}</script>'
#: Would show as 15838 if a page took it for a template.
TEMPLATE = "{{ 7919|add:7919 }}{% include 'base.html' %}${7919+7919}"
HEADER = "Ann\r\nBcc: victim@example.org\r\n\r\n<p>"

#: Values that any box may be sent; those a database cannot hold among them.
VALUES = {
    "nul": "A\0B",
    "nothing but what cannot be seen": "\u202e\u2066\u200b",
    "right to left": "Ann \u202egnp.exe\u202c",
    "isolates never closed": "\u2066\u2067\u2068Ann",
    "controls": "A\x07\x1b[31m\x08\x7f\x85B",
    "lone surrogate": "A\ud800B",
    "never a character": "A\uffffB\ufdd0",
    "astral": "🎸\U0010ffff\U000e0067 ꙮ",
    "1e308": "1e308",
    "a figure of 400 digits": "9" * 400,
    "a figure of 5000 digits": "9" * 5000,  # more than Python turns into a number
    "nan": "NaN",
    "infinity": "-Infinity",
    "negative zero": "-0.0",
    "other digits": "٣٫٥",
    "10 kB": "x" * 10_000,
    "lines": "\n" * 3000,
    "markup": MARKUP,
    "template": TEMPLATE,
    "header": HEADER,
    "path": "../../../../etc/passwd",
    "path in pieces": "..\\..\\C:\\x%2e%2e%2f%00",
    "formula": "=CMD|'/C calc'!A0",
    "statement": "'; DROP TABLE shop_customer; --",
    "pattern": "%_%\\",
    "json": '{"name": "\\ud800", "a": {"b": [NaN]}}',
    "brackets": "[" * 5000,
    "list": '["a", null, 1e999]',
    "a key": "1",
    "a key too large": "99999999999999999999",
    "negative key": "-1",
    "uuid of nobody": "00000000-0000-0000-0000-000000000000",
    "date": "99999-99-99",
    "last day": "9999-12-31",
    "first day": "0001-01-01",
}
