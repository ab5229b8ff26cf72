"""Checks languages, QR code, signatures and verification of papers against independent tools.

zxing-cpp reads the QR code, poppler's pdfsig the signature, pikepdf's checker PDF/A-3b (ISO 19005-3).
"""

from __future__ import annotations

import io
import random
import re
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from string import Formatter

import pytest
from babel.messages.pofile import read_po
from PIL import Image
from typer.testing import CliRunner

from tests.certificate_batches import good_batch, held_batch, rejected_batch
from tests.make_catalogues import LOCALE, messages, updated
from tests.test_certificate_files import needs, needs_preflight, preflight, refused, run, text_of
from wqcheck.certificate.data import Certificate, issue_certificate, issue_notice, to_json
from wqcheck.certificate.withdrawal import withdraw_document
from wqcheck.certificate_files import letterhead
from wqcheck.certificate_files.letterhead import load_letterhead
from wqcheck.certificate_files.workbook import workbook_bytes
from wqcheck.certificate_files.writing import pdf_bytes
from wqcheck.cli import app
from wqcheck.errors import PlantFileError
from wqcheck.languages.catalogues import LANGUAGES, catalogue
from wqcheck.signatures.keys import load_key, new_key
from wqcheck.signatures.signing import signed_pdf
from wqcheck.verification.paper import verify_paper
from wqcheck.verification.report import Outcome

WHEN = datetime(2026, 3, 5, 6, 2, tzinfo=UTC)
TRANSLATED = [language for language in LANGUAGES if language != "en"]
PASSWORD = "an invented password"


def notice(language: str = "en") -> Certificate:
    return issue_notice(
        held_batch(), number="N-1", signed_by="Mara Quell (invented)", issued_at=WHEN, language=language
    )


def release(language: str = "en") -> Certificate:
    return issue_certificate(
        good_batch(), number="C-1", signed_by="Mara Quell (invented)", issued_at=WHEN, language=language
    )


@pytest.fixture(scope="module")
def signed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("signed")
    now = datetime.now(UTC)
    (folder / "key.p12").write_bytes(new_key("Mara Quell (invented)", PASSWORD, now=now))
    (folder / "signed.pdf").write_bytes(signed_pdf(notice(), load_key(folder / "key.p12", PASSWORD), at=now))
    return folder / "signed.pdf"


def places_in(text: str) -> list[str]:
    return sorted(name for _, name, _, _ in Formatter().parse(text) if name)


@pytest.mark.parametrize("language", TRANSLATED)
def test_every_message_is_in_every_catalogue(language: str) -> None:
    content = (LOCALE / f"papers.{language}.po").read_bytes()
    entries = {entry.id: entry for entry in read_po(io.BytesIO(content), locale=language) if entry.id}
    assert set(entries) == set(messages())
    for message, entry in entries.items():
        assert entry.string, message
        assert not entry.fuzzy, message
        assert places_in(str(message)) == places_in(str(entry.string)), message
    assert updated(language) == content


@pytest.mark.parametrize("language", LANGUAGES)
def test_each_language_prints_as_pdf_a_3b_and_verifies(language: str, tmp_path: Path) -> None:
    for paper in (release(language), notice(language)):
        content = pdf_bytes(paper)
        pdf = tmp_path / f"{paper.number}.pdf"
        pdf.write_bytes(content)
        assert refused(pdf) == []
        assert verify_paper(content).sound
        assert "[U+" not in (text_of(pdf) if language != "ar" else "")


@needs("pdftotext")
def test_french_paper_speaks_french(tmp_path: Path) -> None:
    pdf = tmp_path / "fr.pdf"
    pdf.write_bytes(pdf_bytes(notice("fr")))
    text = text_of(pdf)
    assert "Ne pas expédier" in text
    assert "Que faire maintenant" in text
    assert "[en]" in text
    assert "What to do next" not in text
    assert catalogue("fr").figure("0.5") == "0,5"


@needs("pdftoppm")
def test_another_decoder_reads_the_code(tmp_path: Path) -> None:
    zxingcpp = pytest.importorskip("zxingcpp")
    for paper, word in ((release(), "release"), (notice("ar"), "hold")):
        pdf = tmp_path / f"{paper.number}.pdf"
        pdf.write_bytes(pdf_bytes(paper))
        run("pdftoppm", "-r", "150", "-l", "1", "-png", "-singlefile", pdf, tmp_path / paper.number)
        codes = zxingcpp.read_barcodes(Image.open(tmp_path / f"{paper.number}.png"))
        assert [code.text for code in codes] == [f"{paper.number}\n{paper.digest}\n{word}"]


@needs("pdftotext")
def test_a_withdrawal_notice_names_number_reason_who_and_when(tmp_path: Path) -> None:
    gone = withdraw_document(release(), reason="wrong sample (invented)", by="Ira Sand (invented)", at=WHEN)
    pdf = tmp_path / "w.pdf"
    pdf.write_bytes(pdf_bytes(gone))
    text = text_of(pdf)
    for part in ("WITHDRAWN", "C-1", "wrong sample (invented)", "Ira Sand (invented)", "2026-03-05 06:02 (UTC+00:00)"):
        assert part.replace(" ", "") in "".join(text.split())
    assert "Results and limits" not in text
    for content in (pdf.read_bytes(), to_json(gone).encode(), workbook_bytes(gone)):
        assert verify_paper(content).sound


def test_letterhead_with_logo_stays_pdf_a_and_verifies_with_it(tmp_path: Path) -> None:
    svg = '<svg xmlns="http://www.w3.org/2000/svg" width="20" height="20"><rect width="20" height="20"/></svg>'
    (tmp_path / "logo.svg").write_text(svg)
    (tmp_path / "head.toml").write_text('lines = ["Port Almara (invented)"]\nlogo = "logo.svg"\n')
    head = load_letterhead(tmp_path / "head.toml")
    content = pdf_bytes(release(), letterhead=head)
    assert refused(io.BytesIO(content)) == []
    assert verify_paper(content, letterhead=head).sound
    assert not verify_paper(content).sound


@needs_preflight
@pytest.mark.parametrize("language", LANGUAGES)
def test_preflight_accepts_each_language_as_pdf_a_1b(language: str, tmp_path: Path) -> None:
    """PDFBox reads fonts and widths of every script; the page is the same whichever part of ISO 19005 is asked for."""
    pdf = tmp_path / "page.pdf"
    pdf.write_bytes(pdf_bytes(notice(language), standard="a-1b"))
    result = preflight(pdf)
    assert "is a valid PDF/A-1b file" in result.stdout, result.stdout + result.stderr


@needs("pdftotext")
def test_template_of_the_plant_is_printed_and_verifies_with_it(tmp_path: Path) -> None:
    """A changed copy of the shipped template prints its own line; one that cannot be printed is refused in words."""
    shipped = (Path(letterhead.__file__).parent / "templates" / "certificate.typ").read_text("utf-8")
    own = tmp_path / "own.typ"
    (tmp_path / "head.toml").write_text('template = "own.typ"\n', encoding="utf-8")
    own.write_text(shipped + "\n#par[Form Q-17 of Port Almara (invented)]\n", encoding="utf-8")
    head = load_letterhead(tmp_path / "head.toml")
    pdf = tmp_path / "own.pdf"
    pdf.write_bytes(pdf_bytes(release(), letterhead=head))
    assert "Form Q-17 of Port Almara (invented)" in text_of(pdf)
    assert refused(pdf) == []
    assert verify_paper(pdf.read_bytes(), letterhead=head).sound
    assert not verify_paper(pdf.read_bytes()).sound
    own.write_text(shipped + "\n#no-such-function()\n", encoding="utf-8")
    with pytest.raises(PlantFileError, match="the plant's own template cannot be printed"):
        pdf_bytes(release(), letterhead=load_letterhead(tmp_path / "head.toml"))


@needs("pdfsig", "qpdf")
def test_pdfsig_accepts_the_signature(signed: Path) -> None:
    said = run("pdfsig", "-nocert", signed).stdout
    assert "Signature is Valid" in said
    assert "Total document signed" in said
    assert run("qpdf", "--check", signed).returncode == 0
    assert not [finding for finding in refused(signed) if "unsupported" not in finding]
    report = verify_paper(signed.read_bytes())
    assert report.sound, report
    assert report.checks[0].outcome == Outcome.HOLDS


@pytest.mark.parametrize("form", ["signed", "pdf", "json", "xlsx"])
def test_one_changed_byte_anywhere_is_found(form: str, signed: Path) -> None:
    paper = notice()
    contents = {"signed": signed.read_bytes(), "json": to_json(paper).encode("utf-8")}
    contents |= {"pdf": pdf_bytes(paper), "xlsx": workbook_bytes(paper)}
    content = contents[form]
    assert verify_paper(content).sound
    chance = random.Random(form)
    for place in chance.sample(range(5, len(content)), 60 if form in ("pdf", "xlsx") else 150):
        spoilt = bytearray(content)
        spoilt[place] ^= 1 << chance.randrange(8)
        assert not verify_paper(bytes(spoilt)).sound, place


def test_a_rewritten_verdict_with_a_new_digest_is_found() -> None:
    """Whoever changes the data can make a new digest; the numbers of the line still contradict the verdict."""
    paper = issue_notice(rejected_batch(), number="R-1", signed_by="M", issued_at=WHEN)
    lines = tuple(replace(line, verdict="pass") if line.name == "bromate" else line for line in paper.results)
    report = verify_paper(to_json(replace(paper, results=lines)).encode("utf-8"))
    assert not report.sound
    assert re.search("bromate.*numbers give.*fail", " ".join(check.message for check in report.checks))


def test_commands(signed: Path, tmp_path: Path) -> None:
    assert CliRunner().invoke(app, ["verify", str(signed)]).exit_code == 0
    (tmp_path / "bad.json").write_text(to_json(notice()).replace("B2107", "B2108"))
    assert CliRunner().invoke(app, ["verify", str(tmp_path / "bad.json")]).exit_code == 1
    assert '"$schema"' in CliRunner().invoke(app, ["schema"]).output
