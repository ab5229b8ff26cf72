"""Turns a step that cannot give its table at all into a typed error with a clear sentence.

::

    WqcheckError
    ├── WorkbookError        a workbook cannot be read at all
    ├── LimitTableError      a limit table has bad rows; nothing of it was loaded
    ├── UnknownUnitError     a unit text stands in no table
    ├── UnknownParameterError  a parameter code stands in no catalogue
    ├── PlantFileError       a train or release-rules file is not usable
    ├── SheetLayoutError     a sheet layout is not usable
    ├── ReleaseRefusedError  a certificate was asked for a batch that may not be released
    ├── StoreError           a record store cannot be opened, is busy, or is of another version
    └── RecordRefusedError   the rules of the records do not allow what was asked

Bad *data* is never an error: it becomes a :class:`wqcheck.findings.Finding` and the row stays.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path


class WqcheckError(Exception):
    """What every error of this package is; its text is one sentence a user can act on."""


class WorkbookError(WqcheckError, ValueError):
    """A workbook cannot be read at all: what, where, and how to mend it."""


@dataclass(frozen=True, slots=True)
class TableProblem:
    """One bad place in a limit table: file, line (1 is the header), column, what was given and how to mend it."""

    file: str
    line: int
    column: str
    given: str
    message: str

    def __str__(self) -> str:
        return f"{self.file}, line {self.line}, column {self.column}: {self.message} (given: {self.given!r})"


class LimitTableError(WqcheckError, ValueError):
    """A limit table is not usable; ``problems`` lists every bad row, and nothing was loaded."""

    def __init__(self, file: Path | str, problems: Sequence[TableProblem]) -> None:
        self.file = str(file)
        self.problems = tuple(problems)
        super().__init__(self.file, self.problems)

    def __str__(self) -> str:
        lines = "\n".join(f"  {problem}" for problem in self.problems)
        return f"{self.file}: {len(self.problems)} problem(s), so nothing was loaded:\n{lines}"


class UnknownUnitError(WqcheckError, LookupError):
    """A unit text stands in no table of unit spellings; ``text`` is what was given."""

    def __init__(self, text: str) -> None:
        self.text = text
        super().__init__(text)

    def __str__(self) -> str:
        return f"the unit {self.text!r} is not known; correct it in the sheet or add the spelling to units.csv"


class UnknownParameterError(WqcheckError, LookupError):
    """A parameter code stands in no catalogue; ``text`` is what was given."""

    def __init__(self, text: str) -> None:
        self.text = text
        super().__init__(text)

    def __str__(self) -> str:
        return f"the parameter {self.text!r} is not in the catalogue; add it to parameters.csv with its aliases"


class PlantFileError(WqcheckError, ValueError):
    """A train file or a release-rules file is not usable; the text names the file, the key and the mend."""


class SheetLayoutError(WqcheckError, ValueError):
    """A sheet layout is not usable, or an answer does not fit its question; the text names file, key and mend."""


class ReleaseRefusedError(WqcheckError):
    """A certificate was asked for a batch whose disposition is not *release*; ``reasons`` says why."""

    def __init__(self, batch: str, disposition: str, reasons: Sequence[str]) -> None:
        self.batch = batch
        self.disposition = disposition
        self.reasons = tuple(reasons)
        super().__init__(batch, disposition, self.reasons)

    def __str__(self) -> str:
        listed = "".join(f"\n  - {reason}" for reason in self.reasons)
        return f"no certificate for batch {self.batch}: its disposition is {self.disposition}{listed}"


class StoreError(WqcheckError):
    """A record store cannot be opened, written or restored: what, where, and how to mend it."""


class RecordRefusedError(WqcheckError):
    """What was asked breaks a rule of the records: whose turn it is, who may do it, or what must be given."""
