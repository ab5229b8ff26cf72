"""Checks the files of certificates and notices: PDF/A-3b by independent tools, attached data, look, and workbook.

Judges from outside: qpdf (syntax), PDFBox preflight (ISO 19005-1 level B, on a PDF/A-1b print of the same page, for
fonts, colours, metadata), pikepdf's allowlist checker (rules of ISO 19005-3), fontTools (embedded fonts), poppler
(text and picture). Where a program is not installed its test is skipped.
"""

from __future__ import annotations

import io
import json
import re
import shutil
import subprocess
import xml.etree.ElementTree as ET
import zipfile
from collections.abc import Callable
from dataclasses import fields, replace
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import pandas as pd
import pikepdf
import pytest
from fontTools.ttLib import TTFont  # type: ignore[import-untyped]
from hypothesis import given
from hypothesis import strategies as st
from openpyxl import load_workbook
from pikepdf import pdfa
from python_calamine import CalamineWorkbook

from tests.certificate_batches import good_batch, held_batch, rejected_batch
from wqcheck.certificate.data import Certificate, issue_certificate, issue_notice, to_json
from wqcheck.certificate_files.writing import file_stem, pdf_bytes, write_certificate
from wqcheck.errors import WqcheckError
from wqcheck.findings import Finding, Severity
from wqcheck.release.decision import BatchCheck, BatchDetails, FileStamp

WHEN = datetime(2026, 3, 5, 6, 2, tzinfo=timezone(timedelta(hours=1)))
JARS = [Path("/usr/share/java") / f"{name}.jar" for name in (
    "preflight2", "preflight", "pdfbox2", "fontbox2", "xmpbox2", "xmpbox", "commons-logging", "commons-io",
    "javax.activation", "jaxb-api",
)]  # fmt: skip
HOSTILE = (
    '#panic("x") *b* _i_ $x^2$ <a> @ref `raw` \\ [x] "q" // c /* = + - ~ '
    "\x00\x1b\u202eabc\u202c שלום عربي 你好 ไทย 👩\u200d👧"
    + " W" + "W" * 300 + " ab-" * 50 + "\n\nline\ttab\u2028end"
)  # fmt: skip


def needs(*programs: str) -> pytest.MarkDecorator:
    absent = [program for program in programs if shutil.which(program) is None]
    return pytest.mark.skipif(bool(absent), reason=f"not installed: {', '.join(absent)}")


def issue(check: BatchCheck, number: str = "N-2026-0107") -> Certificate:
    write = issue_certificate if check.decision.disposition == "release" else issue_notice
    return write(check, number=number, signed_by="Mara Quell (invented)", issued_at=WHEN)


def long_batch() -> BatchCheck:
    """Give a released batch of more than 200 rows."""
    check = good_batch()
    return replace(check, judged=pd.concat([check.judged] * 36, ignore_index=True))


def hostile_batch() -> BatchCheck:
    """Give a rejected batch in which every text is hostile."""
    check = rejected_batch()
    columns = (
        "sample point parameter_text reported unit basis method lab workbook sheet cell table source clause reason"
    )
    words = dict.fromkeys(columns.split(), HOSTILE)
    judged = check.judged.iloc[:3].assign(**words, parameter=None)
    stages = check.stages.assign(
        **dict.fromkeys(("stage", "inlet", "outlet", "inlet_point", "unit", "reason"), HOSTILE)
    )
    finding = Finding(code=HOSTILE, severity=Severity.HOLD, message=HOSTILE, where=HOSTILE, given=HOSTILE)
    reason = replace(check.decision.reasons[0], message=HOSTILE, where=HOSTILE)
    return replace(
        check,
        details=BatchDetails(**{field.name: HOSTILE for field in fields(BatchDetails)}),
        judged=judged,
        readings=check.readings.iloc[:3].assign(sample=HOSTILE, point=HOSTILE, lab=HOSTILE),
        stages=stages,
        findings=(finding,),
        files=(FileStamp(name=HOSTILE, sha256="f" * 64, kind="workbook", title=HOSTILE),),
        decision=replace(check.decision, reasons=(reason,), not_tested=(HOSTILE,)),
    )


BATCHES: dict[str, Callable[[], BatchCheck]] = {
    "release": good_batch,
    "hold": held_batch,
    "reject": rejected_batch,
    "long": long_batch,
    "hostile": hostile_batch,
}
every_batch = pytest.mark.parametrize("name", BATCHES)


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> dict[str, tuple[Path, ...]]:
    """Write every batch once: name → JSON, PDF, workbook."""
    folder = tmp_path_factory.mktemp("certificates")
    return {name: write_certificate(issue(batch(), f"N-{name}"), folder) for name, batch in BATCHES.items()}


def run(*command: str | Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run([str(part) for part in command], capture_output=True, text=True, check=False)


def text_of(pdf: Path, *options: str) -> str:
    return run("pdftotext", "-layout", *options, pdf, "-").stdout


# ------------------------------------------------------------------------------------------------ the PDF as a file


@every_batch
def test_the_attached_data_is_the_json_file_byte_for_byte(written: dict[str, tuple[Path, ...]], name: str) -> None:
    """ISO 19005-3, 6.8: an associated file says its relationship and its media type, and is listed for the document."""
    data, pdf, _ = written[name]
    with pikepdf.open(pdf) as document:
        (attached,) = document.attachments.values()
        assert attached.get_file().read_bytes() == data.read_bytes()
        assert attached.filename == data.name
        (associated,) = document.Root.AF
        assert associated.AFRelationship == "/Data"
        assert associated.EF.F.Subtype == "/application/json"
        assert str(associated.UF) == data.name


@every_batch
def test_the_pdf_says_that_it_is_pdf_a_3b(written: dict[str, tuple[Path, ...]], name: str) -> None:
    """ISO 19005-3: 6.6.4 (identification), 6.2.3 (output intent), 6.1.3 (trailer), 6.5.1 and 6.6.1 (no actions)."""
    with pikepdf.open(written[name][1]) as document:
        with document.open_metadata() as metadata:
            assert metadata["pdfaid:part"] == "3"
            assert metadata["pdfaid:conformance"] == "B"
            assert metadata["dc:title"].endswith(f"N-{name}")
            assert datetime.fromisoformat(metadata["xmp:CreateDate"]) == WHEN
        (intent,) = document.Root.OutputIntents
        assert intent.S == "/GTS_PDFA1"
        assert intent.DestOutputProfile.read_bytes()[36:40] == b"acsp"  # the mark of an ICC profile, ISO 15076-1, 7.2
        assert not document.is_encrypted
        assert len(document.trailer.ID) == 2
        for key in ("/OpenAction", "/AA", "/JavaScript"):
            assert key not in document.Root
        assert "/JavaScript" not in document.Root.Names
        assert all("/AA" not in page and "/Annots" not in page for page in document.pages)


def fonts_of(document: pikepdf.Pdf) -> list[Any]:
    return [item for item in document.objects if isinstance(item, pikepdf.Dictionary) and item.get("/Type") == "/Font"]


@every_batch
def test_every_font_is_embedded(written: dict[str, tuple[Path, ...]], name: str) -> None:
    """ISO 19005-3, 6.2.11.4."""
    with pikepdf.open(written[name][1]) as document:
        fonts = [font for font in fonts_of(document) if "/DescendantFonts" not in font]
        assert fonts
        for font in fonts:
            assert {"/FontFile", "/FontFile2", "/FontFile3"} & set(font.FontDescriptor.keys())


def test_the_set_of_characters_is_that_of_the_embedded_font(written: dict[str, tuple[Path, ...]]) -> None:
    """ISO 19005-3, 6.2.11.4.2: a CIDSet lists every character that the font program holds (fontTools counts them)."""
    with pikepdf.open(written["release"][1]) as document:
        descriptors = [f.FontDescriptor for f in fonts_of(document) if f.get("/Subtype") == "/CIDFontType2"]
        assert descriptors
        for descriptor in descriptors:
            glyphs = TTFont(io.BytesIO(descriptor.FontFile2.read_bytes()))["maxp"].numGlyphs
            bits = "".join(f"{byte:08b}" for byte in descriptor.CIDSet.read_bytes())
            assert {place for place, bit in enumerate(bits) if bit == "1"} == set(range(glyphs))


# What the checker does not judge, and who does. It approves only what it knows; a refusal of the rest is no violation.
NOT_JUDGED = (
    r"pikepdf:font-program .*FDArray FontMatrix is not supported",  # PDFBox preflight, below
    r"6\.2\.11\.4\.2-2 .*CIDFontType2 subset is not checked",  # fontTools, above
    # Extension schemas are what ISO 19005-3, 6.6.2.3.3 asks for; PDFBox preflight reads them, below.
    r"6\.6\.2\.3\.1-1 .*(namespace|property) (pdfaExtension|pdfaSchema|pdfaProperty|xmpTPg)\b",
    # xmpTPg (paged text) and xmpMM:History are schemas of the XMP specification of 2005 itself, which 6.6.2.3.1 admits.
    r"6\.6\.2\.3\.1-2 .*xmpMM:History is not checked",
)


def refused(pdf: Path | io.BytesIO) -> list[str]:
    findings = [str(finding) for finding in pdfa.validate_written(pdf, "3b").findings]
    return [finding for finding in findings if not any(re.search(known, finding) for known in NOT_JUDGED)]


@every_batch
def test_a_pdf_a_3b_checker_finds_nothing(written: dict[str, tuple[Path, ...]], name: str) -> None:
    assert refused(written[name][1]) == []


@pytest.mark.parametrize("spoil", ["relationship", "script", "identification", "intent", "font"])
def test_the_checker_would_find_something(written: dict[str, tuple[Path, ...]], spoil: str) -> None:
    buffer = io.BytesIO()
    with pikepdf.open(written["hold"][1]) as document:
        if spoil == "relationship":
            del document.Root.AF[0].AFRelationship
        elif spoil == "script":
            document.Root.OpenAction = pikepdf.Dictionary(S=pikepdf.Name.JavaScript, JS="app.alert(1)")
        elif spoil == "identification":
            content = document.Root.Metadata.read_bytes().replace(b"<pdfaid:part>3", b"<pdfaid:part>2")
            document.Root.Metadata.write(content)
        elif spoil == "intent":
            del document.Root.OutputIntents
        else:
            for font in fonts_of(document):
                if "/FontDescriptor" in font and "/FontFile3" in font.FontDescriptor:
                    del font.FontDescriptor.FontFile3
        document.save(buffer)
    assert refused(buffer)


@needs("qpdf")
@every_batch
def test_qpdf_finds_no_fault(written: dict[str, tuple[Path, ...]], name: str) -> None:
    result = run("qpdf", "--check", written[name][1])
    assert result.returncode == 0, result.stdout + result.stderr


def preflight(pdf: Path) -> subprocess.CompletedProcess[str]:
    path = ":".join(str(jar) for jar in JARS if jar.exists())
    return run("java", "-cp", path, "org.apache.pdfbox.preflight.Validator_A1b", pdf)


needs_preflight = pytest.mark.skipif(
    shutil.which("java") is None or not Path("/usr/share/java/preflight.jar").exists(),
    reason="not installed: java, libpdfbox2-java, libactivation-java, libjaxb-api-java",
)


@needs_preflight
@every_batch
def test_preflight_accepts_the_same_page_as_pdf_a_1b(tmp_path: Path, name: str) -> None:
    """Fonts, widths, colours and metadata are written by the same compiler whichever part of ISO 19005 is asked for."""
    pdf = tmp_path / "page.pdf"
    pdf.write_bytes(pdf_bytes(issue(BATCHES[name]()), standard="a-1b"))
    result = preflight(pdf)
    assert "is a valid PDF/A-1b file" in result.stdout, result.stdout + result.stderr


@needs_preflight
def test_preflight_would_find_something(written: dict[str, tuple[Path, ...]]) -> None:
    """PDF/A-1 allows no attached file."""
    assert "EmbeddedFile" in preflight(written["release"][1]).stdout


def test_the_same_certificate_gives_the_same_pdf() -> None:
    for batch in (good_batch, held_batch):
        assert pdf_bytes(issue(batch())) == pdf_bytes(issue(batch()))


# ------------------------------------------------------------------------------------------------ the PDF as a page


@needs("pdftotext")
def test_the_first_page_tells_the_decision_and_what_to_do_next(written: dict[str, tuple[Path, ...]]) -> None:
    for name in ("release", "hold", "reject"):
        page = text_of(written[name][1], "-l", "1")
        assert name.upper() in page
        assert "What to do next" in page
        assert "Do not dispatch" in page or name == "release"
        assert "Signature: Mara Quell (invented)" in page
        assert "B2107" in page


@needs("pdftotext")
def test_a_notice_with_many_reasons_still_says_on_page_one_what_to_do() -> None:
    check = held_batch()
    reasons = tuple(
        replace(check.decision.reasons[1], message=f"reason {n} of many", parameter="") for n in range(1, 41)
    )
    pdf = pdf_bytes(issue(replace(check, decision=replace(check.decision, reasons=reasons))))
    page = _text_of_bytes(pdf, "-l", "1")
    assert "What to do next" in page
    assert "And 33 more" in page
    assert "reason 40 of many" in _text_of_bytes(pdf)


@needs("pdftotext")
def test_the_first_page_names_each_parameter_once() -> None:
    check = held_batch()
    again = tuple(replace(reason, message=f"{reason.message} (again)") for reason in check.decision.reasons)
    reasons = (*check.decision.reasons, *again)
    pdf = pdf_bytes(issue(replace(check, decision=replace(check.decision, reasons=reasons))))
    page = " ".join(_text_of_bytes(pdf, "-l", "1").split())
    assert page.count("(and 1 more about it)") == 3
    assert "(again)" not in page.partition("What to do next")[0].replace("correct the cell (again)", "")
    assert _text_of_bytes(pdf).count("(again)") >= len(again)


def _text_of_bytes(pdf: bytes, *options: str) -> str:
    command = ["pdftotext", "-layout", *options, "-", "-"]
    return subprocess.run(command, input=pdf, capture_output=True, check=True).stdout.decode("utf-8")


@needs("pdftotext")
def test_every_page_says_what_it_is(written: dict[str, tuple[Path, ...]]) -> None:
    for name, (data, pdf, _) in written.items():
        digest = json.loads(data.read_text("utf-8"))["content_digest"]
        pages = text_of(pdf).split("\f")[:-1]
        for number, page in enumerate(pages, start=1):
            assert f"page {number} of {len(pages)}" in page
            assert digest in page
            assert f"N-{name}" in page


@needs("pdftotext")
def test_what_failed_stands_before_what_passed(written: dict[str, tuple[Path, ...]]) -> None:
    text = text_of(written["reject"][1]).partition("Results and limits")[2].partition("Annex: working")[0]
    rows = [text.index(name) for name in ("bromate", "turbidity", "lead", "aluminium")]
    assert rows == sorted(rows)
    assert text.count("FAIL") == 3


@needs("pdftotext")
def test_a_long_table_repeats_its_head_and_loses_no_row(written: dict[str, tuple[Path, ...]]) -> None:
    text = text_of(written["long"][1])
    certificate = issue(long_batch())
    assert len(certificate.results) > 200
    assert text.count("compared:") == len(certificate.results)
    heads = len(re.findall(r"Parameter +Result +Limit +Source +Verdict", text))
    assert heads == sum("compared:" in page for page in text.split("\f"))


@needs("pdftotext")
def test_hostile_text_is_printed_as_text(written: dict[str, tuple[Path, ...]]) -> None:
    text = text_of(written["hostile"][1])
    assert '#panic("x") *b* _i_ $x^2$ <a> @ref `raw`' in text
    for mark in ("[U+0000]", "[U+202E]", "[U+4F60]", "are not in the fonts of this document"):
        assert mark in " ".join(text.split())
    assert "\u202e" not in text
    assert "U+" not in text_of(written["release"][1])


@needs("pdftoppm")
def test_a_notice_looks_different_without_colour(tmp_path: Path, written: dict[str, tuple[Path, ...]]) -> None:
    """Share of ink in the top 60 mm of page one, in a grey picture: a notice has a band, a certificate has none."""
    ink = {}
    for name in ("release", "hold", "reject"):
        run("pdftoppm", "-gray", "-r", "50", "-l", "1", "-singlefile", written[name][1], tmp_path / name)
        head, size, _, pixels = (tmp_path / f"{name}.pgm").read_bytes().split(b"\n", 3)
        assert head == b"P5"
        width = int(size.split()[0])
        top = pixels[: width * 118]
        ink[name] = sum(255 - pixel for pixel in top) / (255 * len(top))
    assert ink["hold"] > 2 * ink["release"]
    assert ink["reject"] > 1.2 * ink["hold"]


# ------------------------------------------------------------------------------------------------ names and folders


@given(st.text(st.characters(codec=None), max_size=120))
def test_a_number_gives_a_harmless_file_name(number: str) -> None:
    stem = file_stem(number)
    assert re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9._-]{0,119}", stem)
    assert stem.split(".")[0].lower() not in {"con", "prn", "aux", "nul", "com1", "lpt9"}


@given(st.lists(st.text(max_size=12), min_size=2, max_size=2, unique=True))
def test_two_numbers_never_share_a_file(numbers: list[str]) -> None:
    assert file_stem(numbers[0]) != file_stem(numbers[1])


@pytest.mark.parametrize("number", ["CR-2026-0107", "B2107.1", "7"])
def test_a_plain_number_is_its_own_file_name(number: str) -> None:
    assert file_stem(number) == number


@pytest.mark.parametrize("number", ["../../x", "a/b", "CON", "nul.txt", ".hidden", "a\x00b", "-rf", "x" * 300, "C:\\x"])
def test_files_stay_in_their_folder(tmp_path: Path, number: str) -> None:
    paths = write_certificate(issue(good_batch(), number), tmp_path / "out")
    assert [path.suffix for path in paths] == [".json", ".pdf", ".xlsx"]
    assert {path.resolve().parent for path in paths} == {(tmp_path / "out").resolve()}
    assert sorted((tmp_path / "out").iterdir()) == sorted(paths)
    assert json.loads(paths[0].read_text("utf-8"))["number"] == number


def test_another_document_with_the_same_number_is_not_overwritten(tmp_path: Path) -> None:
    first = write_certificate(issue(good_batch()), tmp_path)
    kept = [path.read_bytes() for path in first]
    with pytest.raises(WqcheckError, match="another document with this number"):
        write_certificate(issue(held_batch()), tmp_path)
    assert [path.read_bytes() for path in first] == kept
    assert write_certificate(issue(good_batch()), tmp_path) == first


def test_a_time_without_zone_is_printed_as_given() -> None:
    naive = datetime(2026, 3, 5, 6, 2)
    for moment in (naive, naive.replace(tzinfo=UTC)):
        certificate = issue_certificate(good_batch(), number="C1", signed_by="A", issued_at=moment)
        with pikepdf.open(io.BytesIO(pdf_bytes(certificate))) as document, document.open_metadata() as metadata:
            assert metadata["xmp:CreateDate"].startswith("2026-03-05T06:02:00")


# ------------------------------------------------------------------------------------------------ the workbook


@every_batch
def test_the_workbook_holds_every_line(written: dict[str, tuple[Path, ...]], name: str) -> None:
    """Read back with a second library (calamine)."""
    data = json.loads(written[name][0].read_text("utf-8"))
    book = CalamineWorkbook.from_path(str(written[name][2]))
    rows = {title: book.get_sheet_by_name(title).to_python()[1:] for title in book.sheet_names}
    sheets = ["Certificate", "Results", "Working", "Stages", "Not tested", "Not read", "Samples", "Findings", "Files"]
    assert book.sheet_names == [*sheets, "Data"]
    assert len(rows["Working"]) == sum(len(working["steps"]) for working in data["workings"])
    assert len(rows["Results"]) == len(data["results"]) + len(data["without_limit"])
    assert len(rows["Stages"]) == len(data["stages"])
    assert len(rows["Not tested"]) == len({*data["not_tested"], *data["missing"]})
    assert len(rows["Samples"]) == len(data["samples"])
    assert [row[3] for row in rows["Files"]] == [file["sha256"] for file in data["files"]]
    assert {row[0]: row[1] for row in rows["Certificate"]}["Content digest (SHA-256)"] == data["content_digest"]


@pytest.mark.parametrize(
    "text", ["=1+1", "+1", "-1", "@SUM(A1)", "=cmd|' /C calc'!A0", "\t=1", "#REF!", "=HYPERLINK(1)"]
)
def test_no_text_acts_as_a_formula(tmp_path: Path, text: str) -> None:
    """ECMA-376 part 1, 18.3.1.40: a formula stands in an ``f`` element; none may."""
    check = good_batch()
    judged = check.judged.assign(**dict.fromkeys(("reported", "method", "sample", "reason"), text))
    details = replace(check.details, remarks=text, plant=text)
    path = write_certificate(issue(replace(check, judged=judged, details=details)), tmp_path)[2]
    space = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
    with zipfile.ZipFile(path) as parts:
        for part in (name for name in parts.namelist() if name.startswith("xl/worksheets/sheet")):
            tree = ET.fromstring(parts.read(part))
            assert tree.findall(f".//{space}f") == []
            assert {cell.get("t") for cell in tree.iter(f"{space}c")} <= {"s", "n", "inlineStr", None}
    sheet = load_workbook(path)["Results"]
    cells = [cell for row in sheet.iter_rows() for cell in row if cell.value == text]
    assert len(cells) == 4 * len(judged)
    assert all(cell.quotePrefix for cell in cells) == (text[0] in "=+-@\t")


def test_numbers_stay_numbers_and_sheets_are_ready_to_print(written: dict[str, tuple[Path, ...]]) -> None:
    book = load_workbook(written["reject"][2])
    sheet = book["Results"]
    heads = [cell.value for cell in sheet[1]]
    row = next(
        row for row in sheet.iter_rows(min_row=2, values_only=True) if row[heads.index("Parameter")] == "bromate"
    )
    assert row[heads.index("Compared to")] == 12.5
    assert row[heads.index("Upper limit")] == 10
    for one in book.worksheets:
        assert one.freeze_panes == "A2"
        assert one.print_title_rows == "$1:$1"
        assert all(column.width >= 10 for column in one.column_dimensions.values())


def test_json_file_is_the_certificate(written: dict[str, tuple[Path, ...]]) -> None:
    assert written["release"][0].read_bytes() == to_json(issue(good_batch(), "N-release")).encode("utf-8")
