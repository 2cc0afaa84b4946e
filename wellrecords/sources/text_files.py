"""Delimited text: any common delimiter and encoding, with the line of each row."""

from __future__ import annotations

import codecs
import csv
import io
from collections import Counter
from collections.abc import Collection
from dataclasses import replace
from itertools import islice

import numpy as np
import pyarrow as pa
import pyarrow.csv as pacsv

from wellrecords.errors import WellRecordsError
from wellrecords.sources.layout import FileRules
from wellrecords.sources.raw import HEADER_WITHIN, Header, RawTable, find_header, lay_out

DELIMITERS = (",", ";", "\t", "|", "^", "~")
_UNDEFINED_IN_CP1252 = b"\x81\x8d\x8f\x90\x9d"
_SNIFF_BYTES = 200_000


def read_delimited(data: bytes, rules: FileRules, *, known: Collection[str] | None, file: str, source: str) -> RawTable:
    """Read delimited text.

    A regular file (one row a line, as many cells as names) takes the fast
    way through pyarrow; any other is read row by row, so that each row knows
    its line and a broken one is held back rather than lost.

    Parameters
    ----------
    data : bytes
    rules : FileRules
    known : collection of str or None
        Tidied names that the layout knows.
    file, source : str

    Returns
    -------
    RawTable
    """
    data, encoding = as_utf8(data, rules.encoding, file)
    data = data.replace(b"\r\n", b"\n").replace(b"\r", b"\n") if b"\r" in data else data
    data = data.rstrip(b"\n") + b"\n"
    if not data.strip():
        msg = f"{file} is empty. Give a file with a row of column names and a row a well."
        raise WellRecordsError(msg)
    head = data[:_SNIFF_BYTES].decode("utf-8", errors="ignore")
    delimiter = find_delimiter(head) if rules.delimiter == "auto" else rules.delimiter
    reader = csv.reader(io.StringIO(head, newline=""), delimiter=delimiter)
    rows, ends = [], []
    for row in islice(reader, HEADER_WITHIN + 1):
        rows.append(row)
        ends.append(reader.line_num)
    header = find_header(rows, known, rules.header_rows, file)
    skip = ends[header.first + header.rows - 1]
    raw = _read_regular(data, delimiter, header, skip, file)
    if raw is None:
        raw = _read_irregular(data, delimiter, header, file=file, source=source)
    name = {"\t": "tab"}.get(delimiter, delimiter)
    return replace(raw, notes=(f"read as {encoding}, delimiter {name!r}, column names in line {skip}", *raw.notes))


def as_utf8(data: bytes, encoding: str, file: str) -> tuple[bytes, str]:
    """Return text as UTF-8 and the encoding that it was in.

    UTF-8 and UTF-16 are known for certain; what is neither is taken as
    cp1252, the old Windows encoding, unless it holds bytes that cp1252 does
    not define: then it is guessed, and the guess is in the notes.

    Parameters
    ----------
    data : bytes
    encoding : str
        "auto", or a name that Python knows.
    file : str
        For the error.

    Raises
    ------
    WellRecordsError
        Where the text is not in the encoding that the layout names.
    """
    if encoding == "auto":
        encoding = _find_encoding(data)
        if encoding == "utf-8":
            return data, encoding
        if encoding == "utf-8-sig":
            return data.removeprefix(codecs.BOM_UTF8), "utf-8 with a byte order mark"
    try:
        return data.decode(encoding).removeprefix("\ufeff").encode("utf-8"), encoding
    except (UnicodeDecodeError, LookupError) as error:
        msg = f'{file} is not {encoding} text ({error}). Set encoding under [file] in its layout, or leave it "auto".'
        raise WellRecordsError(msg) from error


def _find_encoding(data: bytes) -> str:
    if data.startswith(codecs.BOM_UTF8):
        return "utf-8-sig"
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16"
    sample = data[:2000]
    if sample[1::2].count(0) > len(sample) // 4:
        return "utf-16-le"
    if sample[::2].count(0) > len(sample) // 4:
        return "utf-16-be"
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        pass
    else:
        return "utf-8"
    if not any(byte in data for byte in (_UNDEFINED_IN_CP1252[i : i + 1] for i in range(len(_UNDEFINED_IN_CP1252)))):
        return "cp1252"
    from charset_normalizer import from_bytes

    best = from_bytes(data[:_SNIFF_BYTES]).best()
    return best.encoding if best is not None else "latin-1"


def find_delimiter(head: str) -> str:
    r"""Return the delimiter that cuts most lines into the same number of cells, and into the most.

    Parameters
    ----------
    head : str
        The beginning of the file.

    Returns
    -------
    str
        One of `DELIMITERS`.

    Examples
    --------
    >>> find_delimiter("name;depth\nSmith, J.;12,5\nDoe, A.;8\n") == ";"
    True
    """
    best, best_score = ",", 0.0
    for delimiter in DELIMITERS:
        rows = [row for row in islice(csv.reader(io.StringIO(head, newline=""), delimiter=delimiter), 60) if any(row)]
        rows = rows[:-1] if len(rows) > 2 else rows  # the last one may be cut off
        widths = Counter(len(row) for row in rows)
        width, lines = max(widths.items(), key=lambda item: (item[1] * (item[0] > 1), item[0]))
        score = lines / max(len(rows), 1) * (1.0 + 0.01 * width) if width > 1 else 0.0
        if score > best_score:
            best, best_score = delimiter, score
    return best


def _read_regular(data: bytes, delimiter: str, header: Header, skip: int, file: str) -> RawTable | None:
    """Read a file of one row a line; None where it is not one."""
    try:
        arrow = pacsv.read_csv(
            pa.BufferReader(data),
            read_options=pacsv.ReadOptions(column_names=list(header.names), skip_rows=skip, block_size=8 << 20),
            parse_options=pacsv.ParseOptions(delimiter=delimiter, newlines_in_values=False),
            convert_options=pacsv.ConvertOptions(
                column_types=dict.fromkeys(header.names, pa.string()), strings_can_be_null=False
            ),
        )
    except pa.ArrowInvalid:
        return None
    if arrow.num_rows + skip != data.count(b"\n"):
        return None  # a quoted line break, or a blank line: the fast way cannot tell the lines
    table = arrow.to_pandas()
    table.columns = list(header.names)
    first_cells = table.iloc[:, 0]
    suspects = (first_cells.str.strip() == "") | (first_cells.str.strip() == header.names[0].strip())
    if suspects.any():
        cells = table[suspects]
        stripped = cells.apply(lambda column: column.str.strip())
        if ((stripped == "").all(axis=1) | (stripped == list(header.names)).all(axis=1)).any():
            return None  # rows of nothing, or of names: for the careful way
    return RawTable(table=table, file_row=np.arange(skip + 1, skip + 1 + len(table)), file=file)


def _read_irregular(data: bytes, delimiter: str, header: Header, *, file: str, source: str) -> RawTable:
    csv.field_size_limit(1 << 24)
    lines = data.decode("utf-8", errors="replace").split("\n")[:-1]
    reader = csv.reader((line + "\n" for line in lines), delimiter=delimiter)
    rows: list[list[str]] = []
    file_rows: list[int] = []
    line = 0
    below = header.first + header.rows
    for number, row in enumerate(reader):
        first, line = line, reader.line_num
        if number < below:
            continue
        if line > first + 1 and not _quoted_well(lines[first:line], delimiter):
            # A stray quote swallowed the lines up to the next one: each line is a row of its own.
            rows.extend(csv.reader(lines[first:line], delimiter=delimiter, quoting=csv.QUOTE_NONE))
            file_rows.extend(range(first + 1, line + 1))
        else:
            rows.append(row)
            file_rows.append(first + 1)
    return lay_out(rows, file_rows, header, file=file, source=source)


def _quoted_well(lines: list[str], delimiter: str) -> bool:
    """Return whether the quotes of a row over several lines open and close where they should."""
    try:
        return len(list(csv.reader((line + "\n" for line in lines), delimiter=delimiter, strict=True))) == 1
    except csv.Error:
        return False
