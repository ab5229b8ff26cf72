"""Turns records into the short plain phrases that the page shows."""

from __future__ import annotations

import re
from collections.abc import Sequence

import pandas as pd

from wqcheck.certificate.lines import parameter_name
from wqcheck.errors import WqcheckError
from wqcheck.languages.parameter_names import codes_named, named_in
from wqcheck.page.spoken import later, say, spoken
from wqcheck.parameters import codes_matching
from wqcheck.records.standing import State
from wqcheck.release.decision import Disposition
from wqcheck.tables import Verdict

EXCEEDING = (Verdict.FAIL, Verdict.CONDITIONAL_FAIL)
FLAGGED = (*EXCEEDING, Verdict.UNDETERMINED, Verdict.CONDITIONAL_PASS)
DISPOSITION_WORDS = {
    Disposition.RELEASE: later("RELEASE"),
    Disposition.HOLD: later("HOLD"),
    Disposition.REJECT: later("REJECT"),
}
STATE_WORDS = {
    State.RECEIVED: later("received, to review"),
    State.UNDER_REVIEW: later("reviewed, to decide"),
    State.RELEASED: later("released"),
    State.ON_HOLD: later("on hold"),
    State.REJECTED: later("rejected"),
    State.WITHDRAWN: later("withdrawn"),
}
"""Where a batch stands, and what it waits for."""

DISPOSITION_MEANING = {
    Disposition.RELEASE: later("The results that the rules ask for are there and none is out of its limit."),
    Disposition.HOLD: later("Keep the batch apart: something is out of a limit, missing, undecided or in doubt."),
    Disposition.REJECT: later("At least one result is out of a limit that rejects a batch."),
}


def plain(text: object) -> str:
    """Keep the text of a sheet or a table from being read as markup: what it says is what is shown."""
    return re.sub(r"([\\`*_{}\[\]()<>#+\-.!|~$:&])", r"\\\1", " ".join(str(text).split()))


def message_text(message: object, most: int = 20) -> str:
    """Write an error's sentence, and the places it lists as a list of at most ``most`` entries."""
    first, *places = [line for line in str(message).splitlines() if line.strip()] or [""]
    listed = [f"- {plain(place)}" for place in places[:most]]
    beyond = [f"- {say('and {count} more', count=len(places) - most)}"] if len(places) > most else []
    return "\n".join([plain(first), "", *listed, *beyond])


def refusal_text(refusal: WqcheckError) -> str:
    """Write a refusal without the options of the command line, which the page has as fields."""
    return message_text(re.sub(r" \((--[a-z]+ ?)+[A-Z]*\)", "", str(refusal)))


def parameter_words(code: str, fallback: str = "") -> str:
    """Name a parameter in the language of the page, in English where no name of it is known."""
    return named_in(spoken().language, code) or parameter_name(code, fallback)


def titled(code: str, fallback: str = "") -> str:
    """Name a parameter as a heading or the start of a line does: ``Arsenic``, but ``pH``."""
    return sentence(parameter_words(code, fallback))


def series_words(code: str, point: object) -> str:
    """Name a series in the language of the page: ``lead at FP``."""
    name = parameter_words(code)
    if point is None or pd.isna(point) or not point:  # type: ignore[call-overload]
        return say("{parameter}, no point stated", parameter=name)
    return say("{parameter} at {point}", parameter=name, point=point)


def codes_found(text: str) -> frozenset[str]:
    """Return the codes of the parameters that a search finds: in any spelling, or by the name that the page shows."""
    return codes_matching(text) | codes_named(spoken().language, text)


def sentence(text: str) -> str:
    """Start a sentence with a capital letter, as long as it does not start with ``pH`` or the name of a table."""
    first = text.partition(" ")[0]
    return text if text[:2] == "pH" or "_" in first else text[:1].upper() + text[1:]


def some_of(names: Sequence[str], most: int = 4) -> str:
    """List the first few names, and how many follow: ``Arsenic, Lead and 3 more``."""
    listed = ", ".join(names[:most])
    return say("{names} and {count} more", names=listed, count=len(names) - most) if len(names) > most else listed
