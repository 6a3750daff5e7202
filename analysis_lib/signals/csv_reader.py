"""Read the wanted columns of a delimited text file as numbers, and name the line that is none."""

from __future__ import annotations

import csv
import re
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
from pyarrow import csv as arrow_csv

from analysis_lib.refusals import Refusal
from analysis_lib.signals.stored_columns import StoredColumns, check_columns, check_file, check_rows

LONGEST_HEADER = 100_000  # characters; a longer first line is no header of a recording
MISSING_MARKS = ["", "NA", "N/A", "n/a", "#N/A", "NULL", "null", "NaN", "nan", "-nan", "-NaN"]
COMMA_NUMBER = re.compile(r"\s*[-+]?\d+,\d+([eE][-+]?\d+)?\s*")


def read_csv_columns(path: Path, wanted: Sequence[str], delimiter: str, decimal: str) -> StoredColumns:
    """Read columns of a CSV file with one header line.

    Parameters
    ----------
    path : Path
        File in UTF-8, with or without a byte-order mark.
    wanted : sequence of str
        Names of the columns to read; the others are not converted.
    delimiter, decimal : str
        The single characters between fields and before decimals.

    Returns
    -------
    StoredColumns
        Rows are named as lines of the file. A last line cut short is left out, and that is said.

    Raises
    ------
    Refusal
        Missing or empty file, header only, missing column, text where a number should be, lines
        with another number of fields than the header.
    """
    check_file(path)
    header_line, header = _read_header(path, delimiter)
    check_columns(path.name, header, wanted)
    cut_short: list[arrow_csv.InvalidRow] = []
    parse = partial(_parse, path, header_line, header, wanted, delimiter, decimal, cut_short)
    try:
        table = parse(pa.float64())
    except pa.ArrowInvalid:
        _refuse_ragged_lines(path, header, delimiter, cut_short)
        table = _numbers_from_text(path, header_line, _parse_as_text(parse, path), decimal)
    broken_off = _refuse_ragged_lines(path, header, delimiter, cut_short)
    check_rows(path.name, table.num_rows)
    values = {}
    for name in wanted:  # each column leaves the table as it is copied, so that memory never holds both
        values[name] = table.column(name).to_numpy()
        table = table.drop_columns([name])
    return StoredColumns(values, lambda row: f"line {_line_of_row(path, header_line, row)}", broken_off)


def _read_header(path: Path, delimiter: str) -> tuple[int, list[str]]:
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            number, line = 1, file.readline(LONGEST_HEADER)
            while line and not line.strip():
                number, line = number + 1, file.readline(LONGEST_HEADER)
    except UnicodeDecodeError as error:
        raise _not_text(path, "bytes that are not UTF-8 text") from error
    if "\0" in line or len(line) == LONGEST_HEADER:
        raise _not_text(path, "NUL bytes" if "\0" in line else "a first line without an end")
    if not line.endswith(("\n", "\r")):
        check_rows(path.name, 0)
    fields = next(csv.reader([line], delimiter=delimiter), [])
    return number, [field.strip() for field in fields]


def _not_text(path: Path, got: str) -> Refusal:
    return Refusal(
        what=f"{path.name}, header",
        got=got,
        wanted="a CSV file in UTF-8 with its column names in the first line",
        remedy="export the recording again as CSV in UTF-8, or correct the kind in study.toml",
        scope="trial",
    )


def _parse(path, header_line, header, wanted, delimiter, decimal, cut_short, as_type) -> pa.Table:
    def skip_first_bad_line(row: arrow_csv.InvalidRow) -> str:
        cut_short.append(row)
        return "skip" if len(cut_short) == 1 else "error"

    return arrow_csv.read_csv(
        pa.OSFile(str(path)),  # by its name, a file called .gz would be unpacked, to whatever size
        read_options=arrow_csv.ReadOptions(skip_rows=header_line, column_names=header),
        parse_options=arrow_csv.ParseOptions(delimiter=delimiter, invalid_row_handler=skip_first_bad_line),
        convert_options=arrow_csv.ConvertOptions(
            include_columns=list(wanted),
            column_types=dict.fromkeys(wanted, as_type),
            decimal_point=decimal,
            null_values=MISSING_MARKS,
            strings_can_be_null=True,
        ),
    )


def _parse_as_text(parse: Callable[[pa.DataType], pa.Table], path: Path) -> pa.Table:
    try:
        return parse(pa.string())
    except pa.ArrowInvalid as error:
        raise _not_text(path, f"contents that are no CSV ({str(error)[:80]})") from error


def _numbers_from_text(path: Path, header_line: int, table: pa.Table, decimal: str) -> pa.Table:
    """Convert as a person would read (a leading + is a number); refuse the first field that is text."""
    columns = {}
    for name in table.column_names:
        text = table.column(name).to_pandas().astype(object)
        plain = text.str.replace(decimal, ".", regex=False) if decimal != "." else text
        numbers = pd.to_numeric(plain, errors="coerce").to_numpy(float, na_value=np.nan)
        misread = text.str.contains(".", regex=False, na=False) if decimal != "." else False
        is_text = text.notna().to_numpy() & (np.isnan(numbers) | np.asarray(misread))
        if is_text.any():
            row = int(np.argmax(is_text))
            raise _text_in_numbers(
                path, _line_of_row(path, header_line, row), name, str(text.iloc[row]), decimal
            )
        columns[name] = numbers
    return pa.table(columns)


def _text_in_numbers(path: Path, line: int, column: str, field: str, decimal: str) -> Refusal:
    if decimal == "." and COMMA_NUMBER.fullmatch(field):
        remedy = 'set decimal = "," in study.toml'
    elif decimal == "," and COMMA_NUMBER.fullmatch(field.replace(".", ",")):
        remedy = 'set decimal = "." in study.toml'
    else:
        remedy = "leave the field empty where nothing was measured, or map another column"
    return Refusal(
        what=f"{path.name}, line {line}, column {column!r}",
        got=f"{field[:40]!r}",
        wanted=f"a number with {decimal!r} before its decimals",
        remedy=remedy,
        scope="trial",
    )


def _refuse_ragged_lines(path: Path, header: list[str], delimiter: str, cut_short: list) -> tuple[str, ...]:
    if not cut_short:
        return ()
    line, fields, cut_at_end = _first_ragged_line(path, header, delimiter)
    if cut_at_end:
        return (
            f"{path.name} breaks off within its last line (line {line}: {fields} of {len(header)} cells); that line was"
            " left out, and more may be missing: copy the file from the recorder again.",
        )
    raise Refusal(
        what=f"{path.name}, line {line}",
        got=f"{fields} fields",
        wanted=f"{len(header)} fields, as in the header",
        remedy="export the recording again; where numbers have decimal commas, put ';' between the fields",
        scope="trial",
    )


def _first_ragged_line(path: Path, header: list[str], delimiter: str) -> tuple[int, int, bool]:
    """Return the first line whose fields are not the header's, how many it has, and whether it is a last one cut.

    An open quote makes one row of many lines; that is no line cut short.
    """
    with path.open(encoding="utf-8-sig", errors="replace", newline="") as file:
        rows = csv.reader(file, delimiter=delimiter)
        line = 0
        try:
            for row in rows:
                line, lines = rows.line_num, rows.line_num - line
                if row and len(row) != len(header):
                    is_last = lines == 1 and next(rows, None) is None
                    return line - lines + 1, len(row), is_last and len(row) < len(header)
        except csv.Error as error:
            raise _not_text(path, f"contents that are no CSV ({error})") from error
    return line, len(header), False


def _line_of_row(path: Path, header_line: int, row: int) -> int:
    """Count as an editor does: blank lines hold no row but have a number."""
    for held, line in enumerate(_filled_lines(path, header_line)):
        if held == row:
            return line
    return header_line + row + 1


def _filled_lines(path: Path, header_line: int) -> Iterator[int]:
    with path.open("rb") as file:
        for number, line in enumerate(file, start=1):
            if number > header_line and line.strip():
                yield number
