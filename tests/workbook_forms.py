"""Writes small workbooks in the forms that openpyxl does not write: ods, xls, xlsb, XML spreadsheet, Strict OOXML.

Each is as bare as its standard allows: OpenDocument 1.3 part 3, Microsoft MS-XLS and MS-CFB, MS-XLSB, the XML
spreadsheet form of 2003, and ISO/IEC 29500-1 in place of the transitional namespaces.
"""

from __future__ import annotations

import io
import struct
import zipfile
from collections.abc import Mapping, Sequence
from typing import Any
from xml.sax.saxutils import escape, quoteattr

Rows = Sequence[Sequence[Any]]

ERROR_CODES = {"#NULL!": 0x00, "#DIV/0!": 0x07, "#VALUE!": 0x0F, "#REF!": 0x17, "#NAME?": 0x1D, "#NUM!": 0x24,
               "#N/A": 0x2A}  # fmt: skip
_SECTOR, _END, _FREE, _TABLE = 512, 0xFFFFFFFE, 0xFFFFFFFF, 0xFFFFFFFD


def zipped(parts: Mapping[str, str | bytes], method: int = zipfile.ZIP_DEFLATED) -> bytes:
    """Return a zip file of *parts*, in their order."""
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", method) as archive:
        for name, part in parts.items():
            archive.writestr(name, part)
    return stream.getvalue()


def unzipped(data: bytes) -> dict[str, bytes]:
    """Return the parts of a zip file."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def ods_bytes(sheets: Mapping[str, Rows], *, body: str = "", manifest: str = "") -> bytes:
    """Return an ods file of these sheets; *body* replaces their XML, *manifest* is put into the manifest."""
    tables = body or "".join(_ods_table(name, rows) for name, rows in sheets.items())
    spaces = " ".join(
        f'xmlns:{prefix}="urn:oasis:names:tc:opendocument:xmlns:{name}:1.0"'
        for prefix, name in {"office": "office", "table": "table", "text": "text", "style": "style",
                             "fo": "xsl-fo-compatible"}.items()
    )  # fmt: skip
    spaces += ' xmlns:calcext="urn:org:documentfoundation:names:experimental:calc:xmlns:calcext:1.0"'
    struck = (
        '<style:style style:name="struck" style:family="table-cell"><style:text-properties '
        'style:text-line-through-style="solid"/></style:style>'
    )
    content = (
        f'<?xml version="1.0" encoding="UTF-8"?><office:document-content {spaces} office:version="1.3">'
        f"<office:automatic-styles>{struck}</office:automatic-styles><office:body><office:spreadsheet>{tables}"
        "</office:spreadsheet></office:body></office:document-content>"
    )
    kind = "application/vnd.oasis.opendocument.spreadsheet"
    listed = (
        '<manifest:manifest xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0">'
        f'<manifest:file-entry manifest:full-path="/" manifest:media-type="{kind}"/>'
        f'<manifest:file-entry manifest:full-path="content.xml" manifest:media-type="text/xml">{manifest}'
        "</manifest:file-entry></manifest:manifest>"
    )
    return zipped({"mimetype": kind, "content.xml": content, "META-INF/manifest.xml": listed})


def _ods_table(name: str, rows: Rows) -> str:
    filled = "".join(f"<table:table-row>{''.join(map(ods_cell, row))}</table:table-row>" for row in rows)
    return f"<table:table table:name={quoteattr(name)}>{filled}</table:table>"


def ods_cell(value: Any, given: str = "") -> str:
    """Return one cell of an ods table with further attributes as *given*."""
    if value is None:
        return f"<table:table-cell {given}/>"
    if isinstance(value, int | float):
        stated = f'office:value-type="float" office:value="{value!r}"'
    elif value in ERROR_CODES:
        stated = 'office:value-type="string" office:string-value="" calcext:value-type="error"'
    else:
        stated = 'office:value-type="string"'
    return f"<table:table-cell {stated} {given}><text:p>{escape(str(value))}</text:p></table:table-cell>"


def xml_spreadsheet(sheets: Mapping[str, Rows]) -> bytes:
    """Return an XML spreadsheet of 2003."""
    names = "urn:schemas-microsoft-com:office:spreadsheet"
    tables = "".join(
        f"<Worksheet ss:Name={quoteattr(name)}><Table>{''.join(map(_xml_row, rows))}</Table></Worksheet>"
        for name, rows in sheets.items()
    )
    return (
        '<?xml version="1.0"?>\n<?mso-application progid="Excel.Sheet"?>\n'
        f'<Workbook xmlns="{names}" xmlns:ss="{names}">{tables}</Workbook>'
    ).encode()


def _xml_row(row: Sequence[Any]) -> str:
    cells = [(place, value) for place, value in enumerate(row, start=1) if value is not None]
    kinds = {place: "Number" if isinstance(value, int | float) else "String" for place, value in cells}
    return "<Row>" + "".join(
        f'<Cell ss:Index="{place}"><Data ss:Type="{kinds[place]}">{escape(str(value))}</Data></Cell>'
        for place, value in cells
    ) + "</Row>"  # fmt: skip


def strict_xlsx(data: bytes) -> bytes:
    """Return a transitional xlsx file with the namespaces of its Strict form (ISO/IEC 29500-1, annexes)."""
    old, new = "http://schemas.openxmlformats.org/", "http://purl.oclc.org/ooxml/"
    changes = {
        f"{old}spreadsheetml/2006/main": f"{new}spreadsheetml/main",
        f"{old}officeDocument/2006/": f"{new}officeDocument/",
        f"{old}drawingml/2006/": f"{new}drawingml/",
    }
    parts = unzipped(data)
    for from_, to in changes.items():
        parts = {name: part.replace(from_.encode(), to.encode()) for name, part in parts.items()}
    book = parts["xl/workbook.xml"]
    parts["xl/workbook.xml"] = book.replace(b"<workbook ", b'<workbook conformance="strict" ', 1)
    return zipped(parts)


def xls_bytes(
    sheets: Mapping[str, Rows],
    *,
    hidden_rows: Sequence[int] = (),
    struck: bool = False,
    shown: str = "",
    notes: Mapping[tuple[int, int], str] | None = None,
) -> bytes:
    """Return an xls file (BIFF8 in a compound file).

    Every second row is *struck* through or has the number format *shown*; *notes* are comments by row and column.
    """
    styled = struck or bool(shown)
    streams = [_xls_sheet(rows, hidden_rows, styled, notes or {}) for rows in sheets.values()]
    start = _biff(0x0809, struct.pack("<HHHHII", 0x0600, 0x0005, 0, 0, 0, 6)) + _biff(0x0042, struct.pack("<H", 1200))
    start += b"".join(_biff(0x0031, _xls_font(struck_out=False)) for _ in range(4)) + _biff(0x0031, _xls_font(struck))
    if shown:
        start += _biff(0x041E, struct.pack("<HHB", 164, len(shown), 1) + shown.encode("utf-16-le"))
    styles = ((0, 0), (5, 164 if shown else 0))
    start += b"".join(_biff(0x00E0, struct.pack("<HHH", font, form, 1) + bytes(14)) for font, form in styles)
    names = [struct.pack("<BB", len(name), 1) + name.encode("utf-16-le") for name in sheets]
    place = len(start) + sum(4 + 6 + len(name) for name in names) + 4
    listed = b""
    for name, stream in zip(names, streams, strict=True):
        listed += _biff(0x0085, struct.pack("<IBB", place, 0, 0) + name)
        place += len(stream)
    return compound_file("Workbook", start + listed + _biff(0x000A, b"") + b"".join(streams))


def _biff(kind: int, content: bytes) -> bytes:
    return struct.pack("<HH", kind, len(content)) + content


def _xls_font(struck_out: bool) -> bytes:
    name = b"Arial"
    return struct.pack("<HHHHHBBBB", 200, 8 * struck_out, 0x7FFF, 400, 0, 0, 0, 0, 0) + bytes([len(name), 0]) + name


def _xls_note(number: int, place: tuple[int, int], text: str) -> bytes:
    """Return the records ``Obj``, ``TxO`` and ``Note`` of one comment (MS-XLS; their layout from memory)."""
    words = text.encode("utf-16-le")
    drawn = _biff(0x005D, struct.pack("<HHHHH12xHH", 0x15, 18, 0x19, number, 0, 0, 0))
    drawn += _biff(0x01B6, struct.pack("<HH6xHHH", 0, 0, len(text), 16, 0)) + _biff(0x003C, b"\1" + words)
    drawn += _biff(0x003C, struct.pack("<HH4xHH4x", 0, 0, len(text), 0))
    return drawn + _biff(0x001C, struct.pack("<HHHHHBx", *place, 0, number, 0, 0))


def _xls_sheet(rows: Rows, hidden_rows: Sequence[int], styled: bool, notes: Mapping[tuple[int, int], str]) -> bytes:
    width = max(map(len, rows), default=0)
    stream = _biff(0x0809, struct.pack("<HHHHII", 0x0600, 0x0010, 0, 0, 0, 6))
    stream += _biff(0x0200, struct.pack("<IIHHH", 0, len(rows), 0, width, 0))
    for number in range(len(rows)):
        look = 0x120 if number in hidden_rows else 0x100
        stream += _biff(0x0208, struct.pack("<HHHHHHHH", number, 0, width, 255, 0, 0, look, 15))
    for row, cells in enumerate(rows):
        for column, value in enumerate(cells):
            at = struct.pack("<HHH", row, column, int(styled and row % 2))
            if value in ERROR_CODES:
                stream += _biff(0x0205, at + bytes([ERROR_CODES[value], 1]))
            elif isinstance(value, int | float):
                stream += _biff(0x0203, at + struct.pack("<d", value))
            elif value is not None:
                text = str(value).encode("utf-16-le")
                stream += _biff(0x0204, at + struct.pack("<HB", len(text) // 2, 1) + text)
    for number, place in enumerate(notes, start=1):
        stream += _xls_note(number, place, notes[place])
    return stream + _biff(0x000A, b"")


def compound_file(name: str, stream: bytes) -> bytes:
    """Return a compound file that holds one *stream* (Microsoft MS-CFB 2.2 to 2.6), of at most 7 MB."""
    stream = stream.ljust(4096, b"\0")
    stream += bytes(-len(stream) % _SECTOR)
    sectors = len(stream) // _SECTOR
    tables = next(n for n in range(1, 110) if n * 128 >= sectors + 1 + n)
    chain = [_TABLE] * tables + [_END] + [*range(tables + 2, tables + 1 + sectors), _END]
    fat = struct.pack(f"<{tables * 128}I", *chain, *[_FREE] * (tables * 128 - len(chain)))
    entries = _entry("Root Entry", 5, child=1, first=_END, size=0) + _entry(name, 2, first=tables + 1, size=len(stream))
    header = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(16)
    header += struct.pack("<HHHHH6xIIIIIIIII", 0x3E, 3, 0xFFFE, 9, 6, 0, tables, tables, 0, 4096, _END, 0, _END, 0)
    header += struct.pack("<109I", *range(tables), *[_FREE] * (109 - tables))
    return header + fat + entries.ljust(_SECTOR, b"\0") + stream


def _entry(name: str, kind: int, *, first: int, size: int, child: int = _FREE) -> bytes:
    text = name.encode("utf-16-le") + b"\0\0"
    return (
        text.ljust(64, b"\0") + struct.pack("<HBBIII", len(text), kind, 1, _FREE, _FREE, child) + bytes(36)
        + struct.pack("<IQ", first, size)
    )  # fmt: skip


def xlsb_bytes(sheets: Mapping[str, Rows], *, hidden_rows: Sequence[int] = ()) -> bytes:
    """Return an xlsb file (Microsoft MS-XLSB 2.1.4, 2.2.1 and 2.4)."""
    relations = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
    package = "http://schemas.openxmlformats.org/package/2006"
    kind = "application/vnd.ms-excel"
    book = _record(131) + _record(143)
    parts: dict[str, str | bytes] = {
        "[Content_Types].xml": f'<Types xmlns="{package}/content-types"><Default Extension="rels" '
        f'ContentType="application/vnd.openxmlformats-package.relationships+xml"/><Default Extension="bin" '
        f'ContentType="{kind}.sheet.binary.macroEnabled.main"/></Types>',
        "_rels/.rels": f'<Relationships xmlns="{package}/relationships"><Relationship Id="r1" '
        f'Type="{relations}/officeDocument" Target="xl/workbook.bin"/></Relationships>',
    }
    listed = ""
    for number, (name, rows) in enumerate(sheets.items(), start=1):
        book += _record(156, struct.pack("<II", 0, number) + _wide(f"r{number}") + _wide(name))
        listed += f'<Relationship Id="r{number}" Type="{relations}/worksheet" Target="worksheets/sheet{number}.bin"/>'
        parts[f"xl/worksheets/sheet{number}.bin"] = _xlsb_sheet(rows, hidden_rows)
    parts["xl/workbook.bin"] = book + _record(144) + _record(132)
    parts["xl/_rels/workbook.bin.rels"] = f'<Relationships xmlns="{package}/relationships">{listed}</Relationships>'
    return zipped(parts)


def _xlsb_sheet(rows: Rows, hidden_rows: Sequence[int]) -> bytes:
    width = max(map(len, rows), default=0)
    stream = _record(129) + _record(148, struct.pack("<IIII", 0, max(len(rows) - 1, 0), 0, max(width - 1, 0)))
    stream += _record(145)
    for row, cells in enumerate(rows):
        look = 0x10 if row in hidden_rows else 0
        stream += _record(0, struct.pack("<IIHBBBI", row, 0, 300, 0, look, 0, 0))
        for column, value in enumerate(cells):
            place = struct.pack("<II", column, 0)
            if value in ERROR_CODES:
                stream += _record(3, place + bytes([ERROR_CODES[value]]))
            elif isinstance(value, int | float):
                stream += _record(5, place + struct.pack("<d", value))
            elif value is not None:
                stream += _record(6, place + _wide(str(value)))
    return stream + _record(146) + _record(130)


def _record(kind: int, content: bytes = b"") -> bytes:
    return _seven_bits(kind) + _seven_bits(len(content)) + content


def _seven_bits(number: int) -> bytes:
    found = bytearray()
    while number > 0x7F:
        found.append(number & 0x7F | 0x80)
        number >>= 7
    return bytes([*found, number])


def _wide(text: str) -> bytes:
    return struct.pack("<I", len(text)) + text.encode("utf-16-le")
