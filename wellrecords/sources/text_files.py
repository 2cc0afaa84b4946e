"""Delimited text: any common delimiter and encoding, with the line of each row."""

from __future__ import annotations

import codecs
import csv
import io
from collections import Counter
from collections.abc import Callable, Collection, Iterator
from dataclasses import replace
from itertools import islice
from typing import IO

import numpy as np
import pyarrow as pa
import pyarrow.csv as pacsv

from wellrecords.errors import WellRecordsError
from wellrecords.sources.layout import FileRules
from wellrecords.sources.raw import HEADER_WITHIN, Header, RawTable, blank_note, find_header, lay_out, stack_tables

DELIMITERS = (",", ";", "\t", "|", "^", "~")
BLOCK_BYTES = 32 << 20
"""Bytes of a file that are read at a time."""
_UNDEFINED_IN_CP1252 = (b"\x81", b"\x8d", b"\x8f", b"\x90", b"\x9d")
_SNIFF_BYTES = 200_000
_LINES_BACK = 1_000
"""Lines at the end of a block among which one is looked for at which no quote is open."""

Opener = Callable[[], IO[bytes]]


def read_delimited(
    opened: Opener, rules: FileRules, *, known: Collection[str] | None, file: str, source: str
) -> RawTable:
    """Read delimited text, block by block.

    A regular block (one row a line, as many cells as names) takes the fast
    way through pyarrow; any other is read row by row, so that each row knows
    its line and a broken one is held back rather than lost. No more of the
    file than a block is held beside the rows themselves.

    Parameters
    ----------
    opened : callable
        Opens the file's bytes, unpacked; called twice where the encoding has to be found out.
    rules : FileRules
    known : collection of str or None
        Tidied names that the layout knows.
    file, source : str

    Returns
    -------
    RawTable

    Raises
    ------
    WellRecordsError
        Where the file is empty, or is not in the encoding that the layout names.
    """
    encoding, said = _encoding(opened, rules.encoding)
    blocks = _blocks(opened, encoding)
    try:
        first = next(blocks, b"")
        if not first:
            msg = f"{file} is empty. Give a file with a row of column names and a row a well."
            raise WellRecordsError(msg)
        head = first[:_SNIFF_BYTES].decode("utf-8", errors="ignore")
        delimiter = find_delimiter(head) if rules.delimiter == "auto" else rules.delimiter
        reader = csv.reader(io.StringIO(head, newline=""), delimiter=delimiter)
        rows, ends = [], []
        for row in islice(reader, HEADER_WITHIN + 1):
            rows.append(row)
            ends.append(reader.line_num)
        header = find_header(rows, known, rules.header_rows, file)
        skip = ends[header.first + header.rows - 1]
        reading = _Reading(header, delimiter, file, source, lines=skip)
        reading.add(first, skip)
        for block in blocks:
            reading.add(block)
    except (UnicodeDecodeError, LookupError) as error:
        msg = f'{file} is not {encoding} text ({error}). Set encoding under [file] in its layout, or leave it "auto".'
        raise WellRecordsError(msg) from error
    raw = stack_tables(reading.tables, file)
    name = {"\t": "tab"}.get(delimiter, delimiter)
    notes = (f"read as {said}, delimiter {name!r}, column names in line {skip}", *blank_note(reading.blank))
    return replace(raw, notes=notes)


def _encoding(opened: Opener, wanted: str) -> tuple[str, str]:
    """Return the encoding of a text and what is said of it.

    UTF-8 and UTF-16 are known for certain; what is neither is taken as
    cp1252, the old Windows encoding, unless it holds bytes that cp1252 does
    not define: then it is guessed, and the guess is in the notes.
    """
    if wanted != "auto":
        return wanted, wanted
    with opened() as stream:
        head = stream.read(_SNIFF_BYTES)
    if head.startswith(codecs.BOM_UTF8):
        return "utf-8", "utf-8 with a byte order mark"
    if head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16", "utf-16"
    sample = head[:2000]
    for encoding, zeros in (("utf-16-le", sample[1::2]), ("utf-16-be", sample[::2])):
        if zeros.count(0) > len(sample) // 4:
            return encoding, encoding
    decoder = codecs.getincrementaldecoder("utf-8")()
    unicode, undefined = True, False
    with opened() as stream:
        while chunk := stream.read(BLOCK_BYTES):
            undefined |= any(byte in chunk for byte in _UNDEFINED_IN_CP1252)
            try:
                unicode = unicode and decoder.decode(chunk) is not None
            except UnicodeDecodeError:
                unicode = False
    if unicode and not decoder.getstate()[0]:
        return "utf-8", "utf-8"
    if not undefined:
        return "cp1252", "cp1252"
    from charset_normalizer import from_bytes

    best = from_bytes(head).best()
    encoding = best.encoding if best is not None else "latin-1"
    return encoding, encoding


def _blocks(opened: Opener, encoding: str) -> Iterator[bytes]:
    """Yield the text as UTF-8 in blocks of whole rows with plain line ends, blank lines at the end left out."""
    decoder = codecs.getincrementaldecoder(encoding)()
    rest, begun = b"", False
    with opened() as stream:
        while True:
            chunk = stream.read(BLOCK_BYTES)
            block = rest + decoder.decode(chunk, final=not chunk).encode("utf-8")
            if not begun:
                block, begun = block.removeprefix(codecs.BOM_UTF8), True
            if not chunk:
                block = _plain_ends(block).rstrip(b"\n")
                if block:
                    yield block + b"\n"
                return
            last = -1 if block.endswith(b"\r") else len(block)  # its other half may be in the next chunk
            block, rest = _plain_ends(block[:last]), block[last:]
            rows = _whole_rows(block)
            body = block[:rows].rstrip(b"\n")
            if body:
                yield body + b"\n"
                rest = block[len(body) + 1 :] + rest
            else:
                rest = block + rest


def _plain_ends(block: bytes) -> bytes:
    return block.replace(b"\r\n", b"\n").replace(b"\r", b"\n") if b"\r" in block else block


def _whole_rows(block: bytes) -> int:
    """Return where the last row ends: at a line's end with no quote open, at the last line's where none is near.

    0 where a quote is open from the block's first lines on: more must be read.
    """
    end = last = block.rfind(b"\n") + 1
    odd = block.count(b'"', 0, end) % 2
    for _ in range(_LINES_BACK):
        if not odd or not end:
            return end
        before = block.rfind(b"\n", 0, end - 1) + 1
        odd = (odd + block.count(b'"', before, end)) % 2
        end = before
    return last


class _Reading:
    """The blocks of one file as they are read, one after another."""

    def __init__(self, header: Header, delimiter: str, file: str, source: str, lines: int) -> None:
        self.header, self.delimiter, self.file, self.source = header, delimiter, file, source
        self.tables: list[RawTable] = []
        self.lines = lines
        self.blank = 0

    def add(self, block: bytes, skip: int = 0) -> None:
        """Read a block; `skip` lines stand above its rows."""
        lines = block.count(b"\n") - skip
        raw = _read_regular(block, self.delimiter, self.header, skip, self.file)
        if raw is None:
            below = self.header.first + self.header.rows if skip else 0
            raw, blank = _read_irregular(block, self.delimiter, self.header, below, file=self.file, source=self.source)
            above = self.lines - skip
            self.blank += blank
            rejected = raw.rejected.assign(file_row=raw.rejected["file_row"] + above)
            raw = replace(raw, file_row=raw.file_row + above, rejected=rejected)
        else:
            raw = replace(raw, file_row=raw.file_row + self.lines)
        self.tables.append(raw)
        self.lines += lines


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


def _read_regular(block: bytes, delimiter: str, header: Header, skip: int, file: str) -> RawTable | None:
    """Read a block of one row a line, the rows counted from 1; None where it is not one."""
    try:
        arrow = pacsv.read_csv(
            pa.BufferReader(block),
            read_options=pacsv.ReadOptions(column_names=list(header.names), skip_rows=skip, block_size=8 << 20),
            parse_options=pacsv.ParseOptions(delimiter=delimiter, newlines_in_values=False),
            convert_options=pacsv.ConvertOptions(
                column_types=dict.fromkeys(header.names, pa.large_string()), strings_can_be_null=False
            ),
        )
    except pa.ArrowInvalid:
        return None
    if arrow.num_rows + skip != block.count(b"\n"):
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
    return RawTable(table=table, file_row=np.arange(1, 1 + len(table)), file=file)


def _read_irregular(
    block: bytes, delimiter: str, header: Header, below: int, *, file: str, source: str
) -> tuple[RawTable, int]:
    """Read a block row by row, without the first `below` rows; and how many blank ones it had."""
    csv.field_size_limit(1 << 24)
    lines = block.decode("utf-8", errors="replace").split("\n")[:-1]
    reader = csv.reader((line + "\n" for line in lines), delimiter=delimiter)
    rows: list[list[str]] = []
    file_rows: list[int] = []
    line = 0
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
