"""What pydicom makes of texts in every defined term of Specific Character Set, as CSV on stdout.

Columns: Specific Character Set, value representation, bytes in hexadecimal, text as code points.
Every character of the sets of one byte is there, 16 a row. For a set of two bytes one row stands for
all pairs that pydicom reads: their number and the SHA-256 of lines "bytes code points", in ascending
order. With an argument every pair of these sets has its place in rows of 32 instead.

Three things are not as pydicom has them. It knows no ISO_IR 203, which Python's iso8859_15 stands for
here. It leaves the escape sequence of ISO 2022 IR 58 in the text, which is taken out. It takes the
byte 5C for a backslash also where it is the second one of a pair: pairs are given to it undivided.
"""

import csv
import hashlib
import sys
import warnings

from pydicom import charset, config

warnings.simplefilter("error")
config.settings.reading_validation_mode = config.RAISE
charset.python_encoding.update({"ISO_IR 203": "iso8859_15", "ISO 2022 IR 203": "iso8859_15"})
charset.CODES_TO_ENCODINGS[b"\x1b-b"] = "iso8859_15"

# Registration number and the escape sequence that brings the set in.
SINGLE = {
    "100": b"-A",
    "101": b"-B",
    "109": b"-C",
    "110": b"-D",
    "144": b"-L",
    "127": b"-G",
    "126": b"-F",
    "138": b"-H",
    "148": b"-M",
    "203": b"-b",
    "13": b")I",
    "166": b"-T",
}
LOW = {"87": b"$B", "159": b"$(D"}
HIGH = {"149": b"$)C", "58": b"$)A"}
DELIMITERS = {"PN": {0x5E, 0x3D}, "LO": {0x0A, 0x0C, 0x0D, 0x09}}


def undivided(terms, value, vr="LO"):
    encodings = charset.convert_encodings(terms.split("\\"))
    return charset.decode_bytes(value, encodings, DELIMITERS[vr]).replace("\x1b$)A", "")


def text(terms, value, vr="LO"):
    # Values are separated before they are decoded, as in pydicom.values.
    return "\\".join(undivided(terms, v, vr) for v in value.split(b"\\"))


def readable(terms, value):
    try:
        return undivided(terms, value)
    except (UnicodeError, ValueError):
        return None


def points(text):
    return " ".join(f"{ord(c):04X}" for c in text)


def row(terms, value, vr="LO"):
    return [terms, vr, value.hex(), points(text(terms, value, vr))]


def single_bytes():
    for number, escape in SINGLE.items():
        for first in range(0xA0, 0x100, 16):
            values = [bytes([b]) for b in range(first, first + 16)]
            term = f"ISO_IR {number}"
            # Bytes that lead a pair of Shift JIS are none of JIS X 0201.
            line = b"".join(v for v in values if readable(term, v))
            if line:
                yield row(term, b"[" + line + b"]")
                yield row(f"\\ISO 2022 IR {number}", b"[\x1b" + escape + line + b"\x1b(B]")


def pairs():
    """Of every set of two bytes the term and what encloses a pair, with all its pairs."""
    for number, escape in (LOW | HIGH).items():
        up = 0x80 if number in HIGH else 0
        every = [bytes([a + up, b + up]) for a in range(0x21, 0x7F) for b in range(0x21, 0x7F)]
        yield f"\\ISO 2022 IR {number}", b"\x1b" + escape, b"\x1b(B", every
    two = [bytes([a, b]) for a in range(0x81, 0xFF) for b in range(0x40, 0xFF)]
    four = [
        bytes([a, b, c, d])
        for a in (0x81, 0x84, 0x90, 0x95, 0xE3)
        for b in range(0x30, 0x3A)
        for c in range(0x81, 0xFF)
        for d in range(0x30, 0x3A)
    ]
    yield "GBK", b"", b"", two
    yield "GB18030", b"", b"", two + four


def whole_sets():
    for terms, before, after, every in pairs():
        known = [(v, readable(terms, before + v + after)) for v in every]
        known = [(v, t) for v, t in known if t]
        digest = hashlib.sha256()
        for value, t in known:
            digest.update(f"{value.hex()} {points(t)}\n".encode())
        yield [terms, "every pair", str(len(known)), digest.hexdigest()]


def lines_of_pairs():
    for terms, before, after, every in pairs():
        known = [v for v in every if readable(terms, before + v + after)]
        for first in range(0, len(known), 32):
            line = b"[" + before + b"".join(known[first : first + 32]) + after + b"]"
            yield [terms, "LO", line.hex(), points(undivided(terms, line))]


# Written for this list; the first three have the form of PS3.5 annexes H and I.
MIXED = [
    ("\\ISO 2022 IR 87", b"Noukan=\x1b$BG>44\x1b(B^\x1b$B:8\x1b(B", "PN"),
    ("ISO 2022 IR 13\\ISO 2022 IR 87", b"\xc9\xb3\xb6\xdd=\x1b$BG>44\x1b(J^\x1b$B:8\x1b(J=\xc9\xb3", "PN"),
    ("\\ISO 2022 IR 149", b"Noe=\x1b$)C\xb3\xfa^\x1b$)C\xb0\xa3\xb3\xfa", "PN"),
    ("\\ISO 2022 IR 58", b"Nao=\x1b$)A\xc4\xd4^\x1b$)A\xb8\xc9", "PN"),
    ("ISO 2022 IR 100\\ISO 2022 IR 126", b"Tumor \xfc=\x1b-F\xe5\xe3\xea\xdd^\xfc", "PN"),
    ("ISO 2022 IR 100\\ISO 2022 IR 126", b"\x1b-F\xe5\xe3\\\xfc", "LO"),
    ("ISO 2022 IR 100\\ISO 2022 IR 144", b"\xe4\x1b-L\xdc\xde\xd7\xd3\n\xe4", "LO"),
    ("ISO 2022 IR 148\\ISO 2022 IR 166", b"Sa\xf0 \x1b-T\xca\xc1\xcd\xa7", "LO"),
    ("ISO 2022 IR 138\\ISO 2022 IR 127", b"\xee\xe5\xe7 \x1b-G\xcf\xe5\xc7\xda", "LO"),
    ("\\ISO 2022 IR 87\\ISO 2022 IR 159", b"\x1b$BG>\x1b$(D0!\x1b(B 1", "LO"),
    ("ISO_IR 192", "Gehirn rechts größer мозг 脳 뇌".encode(), "LO"),
    ("GB18030", "脑干 左 1".encode("gb18030"), "LO"),
    ("GBK", "腦幹 左 1".encode("gbk"), "LO"),
    ("ISO_IR 148", b"Sa\xf0 \xdd\xfe\xfd", "LO"),
]


def main():
    out = csv.writer(sys.stdout, lineterminator="\n")
    if len(sys.argv) > 1:
        out.writerows(lines_of_pairs())
        return
    out.writerow(["specific_character_set", "vr", "bytes", "code_points"])
    out.writerows(single_bytes())
    out.writerows(row(terms, value, vr) for terms, value, vr in MIXED)
    out.writerows(whole_sets())


main()
