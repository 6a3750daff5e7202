"""The kinds of value that settings and tables are made of."""

from __future__ import annotations

import unicodedata
from datetime import datetime
from itertools import accumulate, islice
from pathlib import Path
from typing import Annotated, Any

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    StringConstraints,
    ValidationInfo,
)

from analysis_lib.refusals import Refusal
from analysis_lib.study.declared.faults import shorten

ID_PATTERN = r"^[A-Za-z][A-Za-z0-9_-]{0,31}$"
YES, NO = "yes", "no"

NAME_LENGTH = 48
NOT_IN_NAMES = "/\\:.*?\"'<>|=$%&;`#"
"""Marks that a file system, a page, a spreadsheet or a shell reads as more than a mark."""

TURNING_MARKS = "\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
"""They turn the direction of writing, so that a text can look like another one (Unicode Standard Annex 9)."""

NOT_SEEN = ("Zs", "Zl", "Zp", "Cf", "Cs", "Co", "Cn")
"""Unicode's categories of blanks and of characters that show nothing, by which two names could look like one."""

LARGEST_COUNT = 1_000_000
"""No study counts as far, and a column of whole numbers has no room for one of any length."""

LONGEST_NAME, LONGEST_PATH = 255, 1000
"""Bytes of one name in a path, and of a whole path, that every file system in use takes."""


class SettingsPart(BaseModel):
    """A part of study.toml: unknown keys are refused, and nothing is turned from one type into another."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


class TableRow(BaseModel):
    """A row of a table: every cell arrives as text, and an empty cell is an absent value."""

    model_config = ConfigDict(extra="ignore", frozen=True)


def read_number(cell: Any) -> Any:
    """Catch the decimal comma before it is reported as mere text.

    Raises
    ------
    Refusal
        When the cell would be a number if its comma were a point.
    """
    if isinstance(cell, str) and "," in cell and _is_number(cell.replace(",", ".", 1)):
        remedy = f"write {cell.replace(',', '.', 1)}, or save the sheet with decimal points"
        raise Refusal("", f"{cell!r}, a decimal comma", "a number with a decimal point", remedy)
    return cell


def check_count(number: int) -> int:
    """Accept a number that something can be counted by.

    Raises
    ------
    Refusal
        For more than a million.
    """
    if number > LARGEST_COUNT:
        raise Refusal("", shorten(number), f"a whole number of at most {LARGEST_COUNT}", "correct it")
    return number


def read_date_time(cell: Any) -> Any:
    """Read a date-time as ISO 8601 writes it, on the lab's own clock.

    >>> read_date_time("2026-03-02T09:14:00")
    datetime.datetime(2026, 3, 2, 9, 14)

    Raises
    ------
    Refusal
        For a bare date, a time zone (two clocks in one study cannot be put in order), or anything else.
    """
    if cell is None or isinstance(cell, datetime):
        return cell
    try:
        moment = datetime.fromisoformat(str(cell))
    except ValueError as error:
        raise _wrong_date_time(cell) from error
    if moment.tzinfo is not None or ":" not in str(cell):
        raise _wrong_date_time(cell)
    return moment


def read_yes_or_no(cell: Any) -> Any:
    """Read "yes" or "no" in any mixture of capitals; an empty cell is no.

    Raises
    ------
    Refusal
        For any other word.
    """
    answer = str(cell or NO).strip().casefold()
    if answer not in (YES, NO):
        raise Refusal("", shorten(cell), f"{YES}, {NO} or an empty cell", f"write {YES} or {NO}")
    return answer == YES


def check_word(text: str) -> str:
    """Accept words, without blanks at either end that nobody would see.

    Raises
    ------
    Refusal
        For an empty text, one that begins or ends with a blank, or one with characters that cannot be seen.
    """
    if not text or text != text.strip():
        raise Refusal("", shorten(text), "words, without blanks at either end", "fill it in")
    if not text.isprintable() and any(
        unicodedata.category(mark) == "Cc" or mark in TURNING_MARKS for mark in text
    ):
        wanted = "words without control characters and marks that turn the direction of writing"
        raise Refusal("", shorten(text), wanted, "type it again")
    return text


def check_name(text: str) -> str:
    """Accept a name that can stand in the name of a file, a heading of a table and a notebook's parameter.

    >>> check_name("hard start"), check_name("oval_10")
    ('hard start', 'oval_10')

    Raises
    ------
    Refusal
        For more than 48 characters, for one of ``/ \\ : . * ? " ' < > | = $ % & ; ` #``, for a blank other than the
        plain one or a character that shows nothing, or for a first character that is neither a letter nor a digit,
        because a spreadsheet would run it as a formula.
    """
    check_word(text)
    bad = [m for m in text if m in NOT_IN_NAMES or (m != " " and unicodedata.category(m) in NOT_SEEN)]
    if bad or len(text) > NAME_LENGTH or not text[0].isalnum():
        wanted = f"a name of letters, digits, blanks, _ and -, {NAME_LENGTH} at most, that starts with a letter or digit"
        raise Refusal("", shorten(text), wanted, "keep the name plain and put the words into a label")
    return text


def is_inside(root: Path, path: Path) -> bool:
    """Whether a path of a study folder, all links followed, ends inside it; without links its text alone tells."""
    text, top = str(path), f"{root}/"
    steps = text.removeprefix(top).split("/")
    if text.startswith(top) and ".." not in steps:
        places = accumulate(steps, "{}/{}".format, initial=str(root))
        if not any(Path(place).is_symlink() for place in islice(places, 1, None)):
            return True
    return path.resolve().is_relative_to(root.resolve())


def read_inner_path(cell: Any, info: ValidationInfo) -> Any:
    """Accept a path only when it stays inside the study folder, as text and with all links followed.

    Raises
    ------
    Refusal
        As `read_path` does, and for a link that leads out of the folder given as ``root`` in the context.
    """
    path, root = read_path(cell), (info.context or {}).get("root")
    if isinstance(path, str) and root is not None and not is_inside(root, root / path):
        wanted = "a path inside the study folder, also where its links lead"
        raise Refusal("", f"{shorten(path)}, a link out of the folder", wanted, "put the file itself there")
    return path


def read_path(cell: Any) -> Any:
    """Accept a path only when it stays inside the study folder.

    Raises
    ------
    Refusal
        For an absolute path, a drive letter, a backslash, a step up (".."), or one too long for a file system.
    """
    if cell is None:
        return cell
    path = str(cell)
    if path.startswith(("/", "~")) or "\\" in path or ":" in path or ".." in path.split("/"):
        wanted = "a path inside the study folder with forward slashes, such as recordings/T001.parquet"
        raise Refusal(
            "", shorten(path), wanted, "move the file into the folder and write its path from there"
        )
    if (
        len(path.encode()) > LONGEST_PATH
        or max(len(part.encode()) for part in path.split("/")) > LONGEST_NAME
    ):
        wanted = f"a path of {LONGEST_PATH} bytes at most, each name in it of {LONGEST_NAME} at most"
        raise Refusal("", shorten(path), wanted, "give the file a shorter name")
    return path


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def _wrong_date_time(cell: object) -> Refusal:
    wanted = "date and time on the lab's clock as 2026-03-02T09:14:00, without time zone"
    return Refusal("", shorten(cell), wanted, "write it so; set the sheet's cells to text first")


Id = Annotated[str, StringConstraints(pattern=ID_PATTERN)]
Word = Annotated[str, AfterValidator(check_word)]
Name = Annotated[str, AfterValidator(check_name)]
#: Stands after any bounds, so that these belong to the number and reach the schema.
AsNumber = BeforeValidator(read_number)
Count = Annotated[int, AfterValidator(check_count)]
Number = Annotated[float, Field(allow_inf_nan=False), AsNumber]
DateTime = Annotated[datetime, BeforeValidator(read_date_time)]
YesOrNo = Annotated[bool, BeforeValidator(read_yes_or_no)]
InnerPath = Annotated[str, BeforeValidator(read_inner_path)]
