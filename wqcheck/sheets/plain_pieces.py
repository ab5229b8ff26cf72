"""Turns the bytes of a sheet's XML into how far it reaches, without parsing it, where nothing in it has to be marked.

Each tag is looked at as bytes, all tags of a piece at once. What is written in a way that is not foreseen here is
left to the parser of the whole part.
"""

from __future__ import annotations

import re

import numpy as np
import numpy.typing as npt

from wqcheck.sheets.marks import Marks
from wqcheck.sheets.ooxml_parts import Struck

_Bytes = npt.NDArray[np.uint8]
_Places = npt.NDArray[np.int64]

_MOST_LETTERS, _MOST_DIGITS = 3, 7
_BEHIND = b" " * 24
"""Put behind a piece, so that the longest beginning of a cell may be looked for at each of its tags."""


def _is_one_of(signs: bytes) -> npt.NDArray[np.bool_]:
    table = np.zeros(256, dtype=bool)
    table[list(signs)] = True
    return table


_ENDS_NAME, _BLANK, _NO_QUOTE = _is_one_of(b" \t\r\n/>"), _is_one_of(b" \t\r\n"), _is_one_of(b" \t\r\n'")
_LETTER, _DIGIT = _is_one_of(bytes(range(65, 91))), _is_one_of(bytes(range(48, 58)))
_NO_CONTENT = _is_one_of(b"/cr")
"""First signs of the tags that follow a cell without content: its own end, the next cell, the next row."""


class PlainPieces:
    """Pieces of a sheet in which every cell begins ``<c r="A1"``, and nothing is an error, a formula, hidden or struck.

    ``marks`` says how far the cells with content reach.
    """

    def __init__(self, struck: Struck) -> None:
        self.marks = Marks()
        styles = b"|".join(map(str.encode, sorted(struck.styles)))
        texts = b"|".join(map(str.encode, sorted(struck.texts)))
        signs = [b' s="(?:' + styles + b')"'] if styles else []
        signs += [b"<v>(?:" + texts + b")</v>"] if texts else []
        self._struck = re.compile(b"|".join(signs)) if signs else None

    def takes(self, piece: bytes) -> bool:
        """Return whether *piece*, which begins with a tag, is plain; take in how far it reaches."""
        if self._struck is not None and self._struck.search(piece):
            return False
        data = np.frombuffer(piece + _BEHIND, dtype=np.uint8)
        equals = np.flatnonzero(data == ord("="))
        before = data[equals - 1]
        if _NO_QUOTE[data[equals + 1]].any() or _BLANK[before].any():
            return False
        if (data[equals[before == ord("t")] + 2] == ord("e")).any() and b't="e"' in piece:
            return False
        if (before == ord("n")).any() and b"hidden=" in piece:
            return False
        tags = np.flatnonzero(data == ord("<"))
        first, named = data[tags + 1], _ENDS_NAME[data[tags + 2]]
        if (named & (first == ord("f"))).any():
            return False
        cells = np.flatnonzero(named & (first == ord("c")))
        filled = np.append(~_NO_CONTENT[first[1:]], not piece.rstrip().endswith(b"/>"))[cells]
        return self._take_cells(data, tags[cells], filled)

    def _take_cells(self, data: _Bytes, cells: _Places, filled: npt.NDArray[np.bool_]) -> bool:
        """Take in the cells whose tags begin at the places *cells*; return whether the names of all can be read."""
        if any((data[cells + place] != sign).any() for place, sign in enumerate(b' r="', start=2)):
            return False
        columns, at = _number(data, cells + 6, _LETTER, _MOST_LETTERS, (64, 26))
        rows, end = _number(data, at, _DIGIT, _MOST_DIGITS, (48, 10))
        if (at == cells + 6).any() or (end == at).any() or (data[end] != ord('"')).any() or (rows == 0).any():
            return False
        if filled.any():
            self.marks.reach(int(rows[filled].max()) - 1, int(columns[filled].max()) - 1)
        return True


def _number(
    data: _Bytes, at: _Places, sign: npt.NDArray[np.bool_], most: int, written: tuple[int, int]
) -> tuple[_Places, _Places]:
    """Return the numbers that stand at the places *at*, and the places behind them.

    *sign* says which bytes are digits; *written* is the byte of zero and the base.
    """
    number, going = np.zeros(len(at), dtype=np.int64), np.ones(len(at), dtype=bool)
    for _ in range(most):
        byte = data[at]
        going = going & sign[byte]
        if not going.any():
            break
        number = np.where(going, number * written[1] + byte - written[0], number)
        at = at + going
    return number, at
