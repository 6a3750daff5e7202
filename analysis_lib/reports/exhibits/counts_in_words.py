"""How many of something each part of a figure rests on, in few words."""

from __future__ import annotations

from collections.abc import Mapping

LONGEST_CAPTION = 60
"""Words of a caption; with more of them a reader loses the thread, and the table beside says the rest."""


def say_counts(what: str, counts: Mapping[str, int]) -> str:
    """Say the counts, and only one where all parts have the same.

    >>> say_counts("Riders", {"easy": 11, "hard": 11}), say_counts("Riders", {"easy": 11, "hard": 12})
    ('Riders: 11 in each.', 'Riders: easy 11, hard 12.')
    >>> say_counts("Riders", {"hard": 12})
    'Riders: 12.'
    """
    if len(set(counts.values())) == 1:
        return f"{what}: {next(iter(counts.values()))}{' in each' if len(counts) > 1 else ''}."
    return f"{what}: " + ", ".join(f"{part} {count}" for part, count in counts.items()) + "."


def say_range(what: str, counts: Mapping[str, int]) -> str:
    """Say from which to which count parts have, where they are too many to be named.

    >>> say_range("Riders", {"easy": 11, "hard": 12}), say_range("Riders", {"easy": 11, "hard": 11})
    ('Riders: 11 to 12.', 'Riders: 11 in each.')
    """
    few, many = min(counts.values()), max(counts.values())
    return f"{what}: {few} to {many}." if few < many else say_counts(what, counts)


def say_counts_after(words: str, what: str, counts: Mapping[str, int]) -> str:
    """Return words of a caption followed by the counts, in as much detail as a caption can hold.

    >>> say_counts_after("Mean.", "Riders", {"easy": 11, "hard": 12})
    'Mean. Riders: easy 11, hard 12.'
    """
    whole = f"{words} {say_counts(what, counts)}"
    return whole if len(whole.split()) <= LONGEST_CAPTION else f"{words} {say_range(what, counts)}"
