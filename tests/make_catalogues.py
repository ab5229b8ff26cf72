"""Turns the messages in the sources into the gettext catalogues of ``wqcheck/languages/locale``.

``python -m tests.make_catalogues`` adds new messages to every catalogue (untranslated, so that the tests name them) and
drops those that no source has any more; translations are kept.
"""

from __future__ import annotations

import ast
import io
import re
from collections.abc import Iterable, Iterator
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.pofile import read_po, write_po

from wqcheck.certificate_files.view import DATA_WORDS
from wqcheck.certificate_files.workbook import WORKBOOK_WORDS
from wqcheck.languages.catalogues import LANGUAGES, PAGE, PAGE_LANGUAGES, PAPERS, SOURCE
from wqcheck.page.data_words import DATA_WORDS as PAGE_WORDS

PACKAGE = Path(__file__).resolve().parent.parent / "wqcheck"
LOCALE = PACKAGE / "languages" / "locale"
TEMPLATE = PACKAGE / "certificate_files" / "templates" / "certificate.typ"
PYTHON = [
    *sorted((PACKAGE / "certificate").glob("*.py")),
    *sorted((PACKAGE / "certificate_files").glob("*.py")),
]
SAID_FOR_THE_PAGE = ("history_files/phrases.py", "statistics/drift.py", "train/removal_words.py", "train/diagram.py")
"""Modules of other layers whose phrases the page draws in its language, and papers in English."""
MARKS = ("say", "later")
HEADER = """\
# Messages of wqcheck's {domain}; python -m tests.make_catalogues adds new ones.
msgid ""
msgstr ""
"Language: {language}\\n"
"MIME-Version: 1.0\\n"
"Content-Type: text/plain; charset=utf-8\\n"
"Content-Transfer-Encoding: 8bit\\n"

"""
# A literal inside t(...): of its first argument, also where an if chooses between two.
_CALL = re.compile(r'\bt\((if [^"]*\{ )?"((?:[^"\\]|\\.)*)"(?: \} else \{ "((?:[^"\\]|\\.)*)")?')


def messages() -> dict[str, str]:
    """Return every message of papers, each with the file that it stands in."""
    found = dict.fromkeys(DATA_WORDS, "words of the data") | dict.fromkeys(WORKBOOK_WORDS, "workbook.py")
    found |= {message: place for message, place in said_in(PYTHON).items() if message not in found}
    for message in typst_messages(TEMPLATE.read_text("utf-8")):
        found.setdefault(message, TEMPLATE.name)
    return found


def page_messages() -> dict[str, str]:
    """Return every message of the page, each with the file that it stands in."""
    found = said_in([*sorted((PACKAGE / "page").glob("*.py")), *(PACKAGE / name for name in SAID_FOR_THE_PAGE)])
    for word in PAGE_WORDS:
        found.setdefault(word, "words of the data")
    return found


def said_in(sources: Iterable[Path]) -> dict[str, str]:
    """Return the literals that Python sources give to ``say``, each with the file that it stands in.

    The syntax tree is read and not the tokens, which hide what is said inside an f-string.
    """
    found: dict[str, str] = {}
    for path in sources:
        calls = [node for node in ast.walk(ast.parse(path.read_text("utf-8"))) if isinstance(node, ast.Call)]
        for call in sorted(calls, key=lambda call: (call.lineno, call.col_offset)):
            if isinstance(call.func, ast.Name) and call.func.id in MARKS:
                for message in _literals(call.args[0]):
                    found.setdefault(message, path.name)
    return found


def _literals(argument: ast.expr) -> Iterator[str]:
    """Yield the literal that an argument is, or both where an ``if`` chooses between two."""
    if isinstance(argument, ast.Constant):
        yield str(argument.value)
    elif isinstance(argument, ast.IfExp):
        yield from _literals(argument.body)
        yield from _literals(argument.orelse)


def typst_messages(source: str) -> Iterator[str]:
    """Yield the literals that a template gives to ``t``."""
    for match in _CALL.finditer(source):
        yield from (re.sub(r"\\(.)", r"\1", text) for text in match.groups()[1:] if text)


def updated(language: str, domain: str = PAPERS) -> bytes:
    """Return a catalogue with all messages of today and the translations it has."""
    path = LOCALE / f"{domain}.{language}.po"
    old = read_po(io.BytesIO(path.read_bytes()), locale=language) if path.exists() else Catalog(locale=language)
    new = Catalog(locale=language)
    for message, place in (page_messages() if domain == PAGE else messages()).items():
        known = old.get(message)
        new.add(message, known.string if known else "", auto_comments=[place])
    written = io.BytesIO()
    write_po(written, new, width=110, omit_header=True)
    return HEADER.format(language=language, domain=domain).encode() + written.getvalue()


def main() -> None:
    """Write every catalogue again."""
    for domain, languages in ((PAPERS, LANGUAGES), (PAGE, PAGE_LANGUAGES)):
        for language in languages:
            if language != SOURCE:
                (LOCALE / f"{domain}.{language}.po").write_bytes(updated(language, domain))


if __name__ == "__main__":
    main()
