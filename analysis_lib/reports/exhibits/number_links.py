"""Which row of a table a number in a sentence comes from: the links by which a reader checks a page.

A number is linked to a row only when that row holds it: a value that rounds to just what the sentence prints. It is
sought in the tables that the sentence names, or else in those under the same heading. Where several rows hold it, the
row is taken that holds most of the sentence's other numbers and is named in it. Numbers of few digits stand in too many
rows to mean one by themselves: they are linked to a row that the sentence names or that holds another of its numbers
(whole ones only where the words around say what they are, as in "n = 12"), or to the row whose head they are. What was
declared beforehand stands in a table of its own, which any sentence may speak of. Captions of figures are linked like
sentences. Here, too, a number is bound to its sign and unit (`bound_words`), in sentences and captions.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from html import escape, unescape
from itertools import pairwise

from analysis_lib.reports.exhibits.bound_words import NO_BREAK, bind

SAID = re.compile(r'<p class="said\b[^"]*"(?: data-rows-of="([^"]*)")?>(.*?)</p>', re.DOTALL)
OVER_TABLE = re.compile(r'(?<=<span class="words">)(.*?)(?=</span>)', re.DOTALL)
CAPTION = re.compile(r"(?<=<figcaption>)(.*?)(?=</figcaption>)", re.DOTALL)
ROW = re.compile(r'<tr id="table-([^"]+?)--([^"]+)">(.*?)</tr>', re.DOTALL)
HEAD = re.compile(r"<th\b[^>]*>(.*?)</th>", re.DOTALL)
VALUE = re.compile(r' data-value="([^"]+)"')
LINK = re.compile(r'<a class="row" href="#([^"]+)">(.*?)</a>', re.DOTALL)
SECTION = re.compile(r"(?=<h2\b)")
NUMBER = re.compile(r"(?<![\w.])([+−]?)(\d+)(\.\d+)?(?![\w.]*\w)(\s?%)?")
"""A number that is no part of a name such as R01, an index or a date."""

DECLARED = "declared"
"""The table of what was declared beforehand; see `declared_exhibits`."""

SMALLEST_EFFECT = "smallest effect that matters"
MARGIN_BEFORE = re.compile(r"(as large as |as much as |at least |that matters )±?$")
"""Words after which a number is the smallest effect that matters, of an outcome that another sentence may name."""

NAMED_BEFORE = re.compile(r"(\b(n|df|p) [=<] |as large as |that matters |\b[a-z]+_\w+ = |F\((\d+, )?)$")
NAMED_AFTER = re.compile(
    r" (df\b|of them\b|(of \d+ )?planned\b|of \d+ trials|allocations|whole turns were kept)"
)
"""Words that say what a whole number is."""

NAMED = 0.9
"""What a row's name in the sentence weighs beside one number that it holds."""


@dataclass(frozen=True)
class Number:
    """A number as a sentence prints it."""

    text: str
    value: float
    decimals: int
    percent: bool
    below: bool
    named: bool
    level: bool
    margin: bool

    @property
    def telling(self) -> bool:
        """Whether it has digits enough to mean one row by itself."""
        return (
            len(f"{abs(self.value):.{self.decimals}f}".replace(".", "").lstrip("0"))
            > (self.decimals == 0) + 1
        )

    def shows(self, held: Held) -> bool:
        """Whether a cell rounds to what is printed, or lies below it after "<"; "%" wants per cent, or a share."""
        if self.below:
            return 0 <= held.value < self.value
        if held.counted or not (self.decimals or self.percent or self.telling):
            return self.decimals == 0 and not self.percent and abs(held.value - self.value) < 1e-9
        if self.percent and not held.percent:
            return self.decimals == 0 and abs(100 * held.value - self.value) <= 0.5
        return abs(held.value - self.value) <= 0.5000001 * 10.0**-self.decimals


@dataclass(frozen=True)
class Held:
    """A number that a cell holds unrounded: whether it was counted, and whether it is in per cent."""

    value: float
    counted: bool
    percent: bool

    @classmethod
    def of(cls, mark: str) -> Held:
        """Read the mark that a table leaves on its cell."""
        return cls(float(mark.strip("~%")), not mark.startswith("~"), mark.endswith("%"))


@dataclass(frozen=True)
class Row:
    """A row of a table on the page: its place, the words of its head and the values it holds."""

    table: str
    anchor: str
    head: str
    values: tuple[Held, ...]

    def holds(self, number: Number) -> bool:
        """Whether one of its values rounds to the number as printed."""
        return any(number.shows(held) for held in self.values)

    @cached_property
    def headed(self) -> float | None:
        """The number that heads the row, if one does."""
        return float(self.head) if re.fullmatch(r"\d+(\.\d+)?", self.head) else None

    @property
    def is_margin(self) -> bool:
        """Whether the row declares an outcome's smallest effect that matters."""
        return self.table == DECLARED and self.head.startswith(SMALLEST_EFFECT)

    @cached_property
    def key_words(self) -> list[str]:
        """The words of three letters or more of its key."""
        return [word for word in re.split(r"[-\s]+", self.anchor.split("--")[1]) if len(word) > 2]

    def words_in(self, sentence: str) -> int:
        """How many words of its key the sentence holds."""
        return sum(word in sentence.lower() for word in self.key_words)

    def named_in(self, sentence: str) -> float:
        """What share of the words of its key the sentence holds."""
        return self.words_in(sentence) / max(len(self.key_words), 1)


def link_numbers(body: str) -> str:
    """Return the page's body with every number that a table holds linked to its row; the marks this needs go."""
    tables = _rows_of(body)
    sections = [_link_section(section, tables) for section in SECTION.split(body)]
    return OVER_TABLE.sub(lambda match: escape(bind(unescape(match[1]))), VALUE.sub("", "".join(sections)))


def links_from_elsewhere(body: str, page: str) -> dict[str, str]:
    """Return the sentences that a page says, each with its links as they are seen from another page.

    The keys are plain text with plain blanks. Nothing of the page but its text and the places of its rows comes through,
    whoever wrote it.

    >>> links_from_elsewhere('<p class="said">It is <a class="row" href="#t--x">2</a> W.</p>', "study.html")
    {'It is 2 W.': 'It is <a class="row" href="study.html#t--x">2</a> W.'}
    """
    found = {}
    for match in SAID.finditer(body):
        texts = [unescape(part) for part in LINK.split(match[2])]
        linked = [escape(text) for text in texts]
        for place in range(1, len(texts), 3):
            anchor, number = linked[place : place + 2]
            linked[place : place + 2] = ["", f'<a class="row" href="{escape(page)}#{anchor}">{number}</a>']
            texts[place] = ""
        found["".join(texts).replace(NO_BREAK, " ")] = "".join(linked)
    return found


def numbers_of(text: str) -> list[re.Match[str]]:
    """Return the places of all numbers in a sentence."""
    return list(NUMBER.finditer(text))


def _rows_of(html: str) -> dict[str, list[Row]]:
    rows: dict[str, list[Row]] = {}
    for table, key, cells in ROW.findall(html):
        head = HEAD.search(cells)
        values = tuple(Held.of(mark) for mark in VALUE.findall(cells))
        row = Row(table, f"table-{table}--{key}", unescape(head[1]) if head else "", values)
        rows.setdefault(table, []).append(row)
    return rows


def _link_section(section: str, tables: dict[str, list[Row]]) -> str:
    here = list(_rows_of(section))

    def linked(match: re.Match[str]) -> str:
        names = match[1].split() if match[1] else here
        rows = [row for name in dict.fromkeys([*names, DECLARED]) for row in tables.get(name, [])]
        return f'<p class="said">{_link_sentence(unescape(match[2]), rows)}</p>'

    rows_here = [row for name in here for row in tables[name]]
    with_captions = CAPTION.sub(lambda match: _link_sentence(unescape(match[1]), rows_here), section)
    return SAID.sub(linked, with_captions)


def _link_sentence(sentence: str, rows: Sequence[Row]) -> str:
    """Return the escaped sentence with its numbers linked."""
    places = numbers_of(sentence)
    numbers = [_number(place, sentence) for place in places]
    choose = _chooser(sentence, numbers, rows)
    edges = [0, *(edge for place in places for edge in place.span()), len(sentence)]
    bound = bind(sentence)
    parts = [bound[start:end] for start, end in pairwise(edges)]
    for position, number in enumerate(numbers):
        row = choose(number)
        if row is not None:
            shown = escape(parts[2 * position + 1])
            parts[2 * position + 1] = f'<a class="row" href="#{escape(row.anchor)}">{shown}</a>'
        else:
            parts[2 * position + 1] = escape(parts[2 * position + 1])
    return "".join(part if place % 2 else escape(part) for place, part in enumerate(parts))


def _number(place: re.Match[str], sentence: str) -> Number:
    sign, whole, fraction, percent = place.groups()
    value = float(f"{whole}{fraction or ''}") * (-1 if sign == "−" else 1)
    before, after = sentence[: place.start()], sentence[place.end() :]
    named = bool(NAMED_BEFORE.search(before) or NAMED_AFTER.match(after))
    return Number(
        place[0],
        value,
        len(fraction or ".") - 1,
        bool(percent),
        before.endswith("< "),
        named,
        after.startswith(" interval"),
        bool(MARGIN_BEFORE.search(before)),
    )


def _chooser(sentence: str, numbers: Iterable[Number], rows: Sequence[Row]) -> Callable[[Number], Row | None]:
    telling = [number for number in numbers if number.telling and not number.below]
    weight = {
        row.anchor: sum(row.holds(number) for number in telling) + NAMED * row.named_in(sentence)
        for row in rows
    }

    def declared(number: Number) -> Row | None:
        """The one outcome's row that holds a smallest effect, or of several the one that the sentence says most of."""
        margins = [row for row in rows if row.is_margin and row.holds(number)]
        best = max((row.words_in(sentence) for row in margins), default=0)
        named = [row for row in margins if row.words_in(sentence) == best]
        return named[0] if len(named) == 1 else None

    def choose(number: Number) -> Row | None:
        holding = [row for row in rows if row.headed == number.value] if not number.decimals else []
        holding = holding or [row for row in rows if row.holds(number)]
        alone = number.percent and not number.level and len(holding) == 1
        headed = any(row.headed == number.value for row in holding)
        if not (number.telling or alone or headed):
            telling_name = number.decimals or number.named or number.level
            enough = NAMED if telling_name else 1.0 if number.percent else math.inf
            holding = [row for row in holding if weight[row.anchor] >= enough]
        chosen = max(holding, key=lambda row: weight[row.anchor], default=None)
        return declared(number) if chosen is None and number.margin else chosen

    return choose
