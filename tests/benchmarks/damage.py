"""Damages files as disks, mail programs, exports and ill will do: bytes, zip directories and XML parts."""

from __future__ import annotations

import random
import re
import struct
import zipfile
import zlib
from collections.abc import Callable

from tests.workbook_forms import unzipped, zipped

Part = tuple[str, bytes]

_TAG = re.compile(rb"<[^<>]{1,400}>")
_ELEMENT = re.compile(rb"<([A-Za-z:]+)(?:\s[^<>]*)?>[^<>]{0,200}</\1>|<[A-Za-z:]+\s[^<>]*/>")
_NUMBER = re.compile(rb"\d+(?:\.\d+)?")
_VALUE = re.compile(rb'="[^"]*"')
_ODD_NUMBERS = (
    b"0", b"-1", b"4294967295", b"4294967296", b"99999999999999999999", b"1e999", b"", b"1048576", b"1048577", b"16384",
    b"0x10", b"1.5", b"\xd9\xa3", b"NaN", b" 1", b"1 ", b"1,000", b"9" * 300,
)  # fmt: skip
_ODD_VALUES = (
    b'=""', b'="s"', b'="e"', b'="str"', b'="inlineStr"', b'="b"', b'="d"', b'="A0"', b'="XFD1048576"', b'="XFE1"',
    b'="a1"', b'="$A$1"', b'="A1:B2"', b'="../../x"', b'="1"', b'="-5"', b"=x", b"='1'",
)  # fmt: skip


def damaged(chance: random.Random, data: bytes) -> bytes:
    """Return *data* with nothing to three things damaged; a zip file in its parts, or as bytes."""
    for _ in range(chance.choice([0, 1, 1, 1, 2, 3])):
        if data.startswith(b"PK\x03\x04") and chance.random() < 0.8:
            data = _damaged_zip(chance, data)
        else:
            data = _damaged_text(chance, data) if data[:1] == b"<" and chance.random() < 0.6 else _bytes(chance, data)
    return data


def _bytes(chance: random.Random, data: bytes) -> bytes:
    return chance.choice(BYTES)(chance, data) if data else data


def _flip(chance: random.Random, data: bytes) -> bytes:
    changed = bytearray(data)
    for _ in range(chance.choice([1, 1, 4, 40])):
        changed[chance.randrange(len(changed))] ^= 1 << chance.randrange(8)
    return bytes(changed)


def _cut(chance: random.Random, data: bytes) -> bytes:
    return data[: chance.randrange(len(data) + 1)]


def _without(chance: random.Random, data: bytes) -> bytes:
    begin = chance.randrange(len(data))
    return data[:begin] + data[begin + chance.choice([1, 2, 16, 512, 4096]) :]


def _twice(chance: random.Random, data: bytes) -> bytes:
    begin = chance.randrange(len(data))
    end = begin + chance.choice([1, 16, 512, 4096])
    return data[:end] + data[begin:end] * chance.choice([1, 1, 50]) + data[end:]


def _inserted(chance: random.Random, data: bytes) -> bytes:
    place = chance.randrange(len(data) + 1)
    odd = [b"\0", b"\xff", b'"', b"'", b"\r", b"\n", b"\x1a", b"\xef\xbb\xbf", b"\xff\xfe", b"&#0;", b"&amp;", b"<",
           b">", b",", b";", b"\t", b"\xc3", b"\xed\xa0\x80", b"\x80" * 9, b"PK\x05\x06", bytes(chance.randbytes(8)),
           b'"' * 7, b"\n" * 3_000, b"," * 3_000]  # fmt: skip
    return data[:place] + chance.choice(odd) + data[place:]


def _odd_word(chance: random.Random, data: bytes) -> bytes:
    """Write an odd number of four bytes over whatever stands at an even place, as lengths and offsets do."""
    place = chance.randrange(max(1, len(data) - 4) // 2 + 1) * 2
    word = struct.pack("<I", chance.choice([0, 1, 0x7F, 0xFFFF, 0x7FFFFFFF, 0xFFFFFFFF, 0xFFFFFFFE, 0x80000000]))
    return data[:place] + word[: chance.choice([2, 4])] + data[place + 4 :]


BYTES: tuple[Callable[[random.Random, bytes], bytes], ...] = (
    _flip,
    _flip,
    _cut,
    _without,
    _twice,
    _inserted,
    _odd_word,
)


def _damaged_text(chance: random.Random, part: bytes) -> bytes:
    return chance.choice(XML)(chance, part) if part else part


def _any_of(chance: random.Random, pattern: re.Pattern[bytes], part: bytes) -> tuple[int, int] | None:
    found = [match.span() for match in pattern.finditer(part)]
    return chance.choice(found) if found else None


def _replacing(
    pattern: re.Pattern[bytes], new: Callable[[random.Random, bytes], bytes]
) -> Callable[[random.Random, bytes], bytes]:
    def replaced(chance: random.Random, part: bytes) -> bytes:
        place = _any_of(chance, pattern, part)
        return part if place is None else part[: place[0]] + new(chance, part[slice(*place)]) + part[place[1] :]

    return replaced


def _nested(chance: random.Random, old: bytes) -> bytes:
    deep = chance.choice([3, 300, 30_000])
    name = chance.choice([b"is", b"row", b"c", b"x", b"table:table", b"text:p", b"td", b"table"])
    return b"<" + name + b">" + (b"<" + name + b">") * deep + old + (b"</" + name + b">") * (deep + 1)


XML: tuple[Callable[[random.Random, bytes], bytes], ...] = (
    _replacing(_TAG, lambda chance, old: b""),
    _replacing(_TAG, lambda chance, old: old * 2),
    _replacing(_ELEMENT, lambda chance, old: b""),
    _replacing(_ELEMENT, lambda chance, old: old * chance.choice([2, 2, 500])),
    _replacing(_ELEMENT, _nested),
    _replacing(_NUMBER, lambda chance, old: chance.choice(_ODD_NUMBERS)),
    _replacing(_NUMBER, lambda chance, old: chance.choice(_ODD_NUMBERS)),
    _replacing(_VALUE, lambda chance, old: chance.choice(_ODD_VALUES)),
    _replacing(_VALUE, lambda chance, old: b""),
    _replacing(_TAG, lambda chance, old: b"<!--" + old + b"-->"),
    _replacing(_TAG, lambda chance, old: b"<![CDATA[" + old + b"]]>"),
    _replacing(_TAG, lambda chance, old: b"<!DOCTYPE x [<!ENTITY a 'b'>]>" + old),
    _replacing(_TAG, lambda chance, old: old.replace(b"<", b"<x:", 1)),
    _bytes,
)  # fmt: skip


def _damaged_zip(chance: random.Random, data: bytes) -> bytes:
    try:
        parts = list(unzipped(data).items())
    except (zipfile.BadZipFile, zlib.error, OSError, ValueError, NotImplementedError, RuntimeError, EOFError):
        return _bytes(chance, data)
    return chance.choice(ZIP)(chance, parts) if parts else _bytes(chance, data)


def _changed_part(chance: random.Random, parts: list[Part]) -> bytes:
    weights = [3 if "sheet" in name.lower() or "content" in name else 1 for name, _ in parts]
    [place] = chance.choices(range(len(parts)), weights)
    name, part = parts[place]
    text = part.lstrip()[:1] == b"<" and chance.random() < 0.85
    parts[place] = (name, _damaged_text(chance, part) if text else _bytes(chance, part))
    return zipped(dict(parts), chance.choice([zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED]))


def _without_part(chance: random.Random, parts: list[Part]) -> bytes:
    parts.pop(chance.randrange(len(parts)))
    return zipped(dict(parts))


def _swapped(chance: random.Random, parts: list[Part]) -> bytes:
    one, other = chance.randrange(len(parts)), chance.randrange(len(parts))
    (name, part), (name_of_other, part_of_other) = parts[one], parts[other]
    parts[one], parts[other] = (name, part_of_other), (name_of_other, part)
    return zipped(dict(parts))


def _renamed(chance: random.Random, parts: list[Part]) -> bytes:
    place = chance.randrange(len(parts))
    name, part = parts[place]
    odd = [name.upper(), "../" + name, "/" + name, name.replace("/", "\\"), "x", name + "/", "content.xml", "é" + name]
    parts[place] = (chance.choice(odd), part)
    return zipped(dict(parts))


def _wrong_sum(chance: random.Random, parts: list[Part]) -> bytes:
    """Damage a stored part behind its checksum."""
    data = bytearray(zipped(dict(parts), zipfile.ZIP_STORED))
    _, part = chance.choice(parts)
    place = data.find(part) if part else -1
    if place > 0:
        data[place + chance.randrange(len(part))] ^= 1
    return bytes(data)


def _odd_directory(chance: random.Random, parts: list[Part]) -> bytes:
    """Damage the directory or a header of the zip file only."""
    data = bytearray(zipped(dict(parts)))
    places = [m.start() for m in re.finditer(rb"PK\x01\x02|PK\x03\x04|PK\x05\x06", bytes(data))]
    data[min(chance.choice(places) + chance.randrange(46), len(data) - 1)] = chance.choice([0, 1, 255, 127, 8, 9, 12])
    return bytes(data)


ZIP: tuple[Callable[[random.Random, list[Part]], bytes], ...] = (
    *[_changed_part] * 8, _without_part, _swapped, _renamed, _wrong_sum, _odd_directory,
)  # fmt: skip
