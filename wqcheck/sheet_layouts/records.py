"""Turns what a user confirmed for the sheets of one laboratory into one frozen record, and looks answers up in it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

from wqcheck.parameters import normalise
from wqcheck.units import fold

DATE_ROLES = ("sampled_at", "received_at", "analysed_at")
DATE_ORDERS = ("dmy", "mdy", "ymd")
DECIMAL_MARKS = (".", ",")
MEANINGS = ("absent", "present", "not detected", "below", "too numerous", "not tested")
"""What a laboratory's own word in a result cell can mean."""

COLUMN_ROLES = frozenset([
    "analyte", "result", "parameter", "cas", "unit", "basis", "fraction", "sign", "qualifier", "reporting_limit",
    "detection_limit", "uncertainty", "method", "volume_ml", "sample", "point", "stage", "batch", "replicate",
    "lab", "sampled_at", "sampled_time", "received_at", "analysed_at", "other_date", "limit", "verdict", "computed",
    "remark", "sampled_by", "product", "product_kind", "plant", "address", "line", "tank", "containers",
    "container_codes", "run_start", "run_end", "volume", "best_before", "other",
])  # fmt: skip
"""The parts that a column can play; ``analyte`` is a column of results of one parameter, ``other`` is not used."""

RESULT_ROLES = frozenset({"analyte", "result"})


@dataclass(frozen=True, slots=True, kw_only=True)
class NameAnswer:
    """The parameter (its code) that a name means, with what else the name says of its results."""

    parameter: str
    basis: str = ""
    fraction: str = ""
    unit: str = ""
    replace: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class TextAnswer:
    """A unit or basis for results that state none, or for all of them where ``replace`` says so."""

    text: str
    replace: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class VolumeAnswer:
    """The volume examined, in mL, for results that state none, or for all of them where ``replace`` says so."""

    volume_ml: float
    replace: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class PointAnswer:
    """The sampling point (its code in the train file) or the stage that a sheet's spelling means."""

    point: str = ""
    stage: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ColumnAnswer:
    """What one column is, told by its heading, or by its letter where it has none.

    ``nth`` counts the columns with the same heading from 1. A blank field leaves to the reader what it decides.
    """

    heading: str = ""
    column: str = ""
    nth: int = 1
    role: str = ""
    parameter: str = ""
    basis: str = ""
    fraction: str = ""
    unit: str = ""
    replace: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class TableAnswer:
    """What one table of the laboratory's workbooks is, known again by the fingerprint of its headings.

    ``header`` is the row of the headings (1 is the first of the sheet) where the reader takes another; ``parameter``
    and ``unit`` hold for results at which no name and no unit stands. ``kind`` and ``sheet`` are for the person who
    reads the file.
    """

    fingerprints: tuple[str, ...] = ()
    sheet: str = ""
    kind: str = ""
    header: int | None = None
    parameter: str = ""
    unit: str = ""
    columns: tuple[ColumnAnswer, ...] = ()
    replace: bool = False


@dataclass(frozen=True, kw_only=True)
class SheetLayout:
    """What a user confirmed for the sheets of one laboratory. Every part may be blank.

    Attributes
    ----------
    name, lab : str
        Name of the layout; laboratory as its sheets write it. Sheets that name another laboratory do not match.
    decimal : str
        Decimal mark where a sheet proves none.
    dates : mapping of role to order
        Order of day, month and year (``dmy``, ``mdy``, ``ymd``) in ``sampled_at`` … where a column proves none.
    aliases : mapping of str to NameAnswer
        Names as the laboratory writes them.
    units, bases, volumes : mapping of parameter code to answer
        What holds where a result states none.
    unit_spellings : mapping of str to str
        Unit texts that are not known → a unit that is.
    points : mapping of str to PointAnswer
        Spellings of sampling points.
    words, signs : mapping of str to str
        Words in result cells → one of :data:`MEANINGS`; texts of sign and flag columns → ``<`` or ``>``.
    not_parameters : tuple of str
        Headings of columns of numbers that are no results; they stay in the ledger, without a finding.
    tables : tuple of TableAnswer
        The tables by fingerprint.
    path : str
        Where it was read, blank for one that was not.
    digest : str
        SHA-256 of the bytes it was read from, blank for one that was not.
    remarks : tuple of str
        Comment lines at the top of the file, such as open questions; they are not read back.
    """

    name: str = ""
    lab: str = ""
    decimal: str = ""
    dates: Mapping[str, str] = field(default_factory=dict)
    aliases: Mapping[str, NameAnswer] = field(default_factory=dict)
    units: Mapping[str, TextAnswer] = field(default_factory=dict)
    bases: Mapping[str, TextAnswer] = field(default_factory=dict)
    volumes: Mapping[str, VolumeAnswer] = field(default_factory=dict)
    unit_spellings: Mapping[str, str] = field(default_factory=dict)
    points: Mapping[str, PointAnswer] = field(default_factory=dict)
    words: Mapping[str, str] = field(default_factory=dict)
    signs: Mapping[str, str] = field(default_factory=dict)
    not_parameters: tuple[str, ...] = ()
    tables: tuple[TableAnswer, ...] = ()
    path: str = field(default="", compare=False)
    digest: str = field(default="", compare=False)
    remarks: tuple[str, ...] = field(default=(), compare=False)

    def name_of(self, text: str) -> NameAnswer | None:
        """Return what the layout says of the analyte name *text*; case, accents and punctuation do not count."""
        return self._names.get(normalise(text))

    def point_of(self, text: str) -> PointAnswer | None:
        """Return the point that *text* is said to mean."""
        return self._points.get(normalise(text))

    def unit_spelling(self, text: str) -> str | None:
        """Return the known unit that the unit text *text* is said to mean."""
        return self._spellings.get(fold(text))

    def word_of(self, text: str) -> str | None:
        """Return the meaning of a laboratory's own word in a result cell."""
        return self._words.get(folded_word(text))

    def sign_of(self, text: str) -> str | None:
        """Return the sign that *text* in a sign or flag column is said to mean."""
        return self._signs.get(folded_word(text))

    def is_no_parameter(self, heading: str) -> bool:
        """Return whether the column under *heading* is said to hold no results."""
        return normalise(heading) in self._no_parameters

    def table_for(self, fingerprint: str) -> TableAnswer | None:
        """Return what the layout says of the table with this fingerprint."""
        return next((table for table in self.tables if fingerprint and fingerprint in table.fingerprints), None)

    @cached_property
    def _names(self) -> dict[str, NameAnswer]:
        return {normalise(text): answer for text, answer in self.aliases.items()}

    @cached_property
    def _points(self) -> dict[str, PointAnswer]:
        return {normalise(text): answer for text, answer in self.points.items()}

    @cached_property
    def _spellings(self) -> dict[str, str]:
        return {fold(text): unit for text, unit in self.unit_spellings.items()}

    @cached_property
    def _words(self) -> dict[str, str]:
        return {folded_word(text): meaning for text, meaning in self.words.items()}

    @cached_property
    def _signs(self) -> dict[str, str]:
        return {folded_word(text): sign for text, sign in self.signs.items()}

    @cached_property
    def _no_parameters(self) -> frozenset[str]:
        return frozenset(map(normalise, self.not_parameters))


def folded_word(text: str) -> str:
    """Return how words of result cells are compared: case and blanks do not count, every other character does."""
    return " ".join(text.casefold().split())


NO_ANSWERS = SheetLayout()
"""The layout of a laboratory of which nothing is known yet."""
