"""Turns the messages in the sources into the gettext catalogues of ``wqcheck/languages/locale``.

``python -m tests.make_catalogues`` adds new messages to every catalogue (untranslated, so that the tests name them) and
drops those that no source has any more; translations are kept.
"""

from __future__ import annotations

import ast
import io
import re
from collections.abc import Iterable, Iterator
from enum import StrEnum
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.pofile import read_po, write_po

from wqcheck.certificate.data import CertificateKind
from wqcheck.certificate_files.view import DATA_WORDS
from wqcheck.certificate_files.workbook import WORKBOOK_WORDS
from wqcheck.languages.catalogues import LANGUAGES, PAGE, PAPERS, SOURCE
from wqcheck.page.spoken import PAGE_LANGUAGES
from wqcheck.records.roles import Role
from wqcheck.records.standing import State
from wqcheck.release.decision import Disposition
from wqcheck.tables import LimitClass, Product

PACKAGE = Path(__file__).resolve().parent.parent / "wqcheck"
LOCALE = PACKAGE / "languages" / "locale"
TEMPLATE = PACKAGE / "certificate_files" / "templates" / "certificate.typ"
PYTHON = [
    *sorted((PACKAGE / "certificate").glob("*.py")),
    *sorted((PACKAGE / "certificate_files").glob("*.py")),
]
SPOKEN_DATA: tuple[type[StrEnum], ...] = (State, Role, Product, Disposition, CertificateKind, LimitClass)
"""Words of the data that the page says as they are."""
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
    found = said_in(sorted((PACKAGE / "page").glob("*.py")))
    return found | {str(word): "words of the data" for kind in SPOKEN_DATA for word in kind if str(word) not in found}


def said_in(sources: Iterable[Path]) -> dict[str, str]:
    """Return the literals that Python sources give to ``say`` and ``later``, each with the file that it stands in."""
    found: dict[str, str] = {}
    for path in sources:
        calls = [node for node in ast.walk(ast.parse(path.read_text("utf-8"))) if isinstance(node, ast.Call)]
        for call in sorted(calls, key=lambda call: (call.lineno, call.col_offset)):
            if isinstance(call.func, ast.Name) and call.func.id in ("say", "later"):
                for message in call.args[:1]:
                    found |= {text: path.name for text in _literals(message) if text not in found}
    return found


def _literals(node: ast.expr) -> Iterator[str]:
    """Yield a literal text, or both of an if between two."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        yield node.value
    elif isinstance(node, ast.IfExp):
        yield from _literals(node.body)
        yield from _literals(node.orelse)


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
