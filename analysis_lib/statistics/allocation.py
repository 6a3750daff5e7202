"""Who rides which sequence, and in which order come the intensities? Drawn from a stored seed."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.designs import williams_design


def allocate_riders(
    riders: Sequence[str], sequences: Sequence[str], seed: int, blocks_of: int | None = None
) -> pd.DataFrame:
    """Randomise riders to sequences in blocks that hold every sequence equally often.

    Parameters
    ----------
    riders : sequence of str
        In the order in which they will be enrolled.
    sequences : sequence of str
    seed : int
        Stored in the study, so that the list can be drawn again; keep the list from whoever enrols riders.
    blocks_of : int, optional
        Riders a block, a multiple of the sequences; twice the sequences unless given. With blocks as small
        as the sequences, the last rider of each can be foretold.

    Returns
    -------
    DataFrame
        rider, block (from 1), sequence. After whole blocks every sequence has equally many riders; the
        last block may be cut short.

    Raises
    ------
    Refusal
        No riders, a rider or sequence named twice, a block that is not a multiple, a seed that is not a
        whole number of 0 or more.

    Examples
    --------
    >>> drawn = allocate_riders([f"R{i:02d}" for i in range(1, 9)], ["ABBA", "BAAB"], seed=2026)
    >>> drawn.groupby("block").sequence.value_counts().tolist()
    [2, 2, 2, 2]
    """
    size = 2 * len(sequences) if blocks_of is None else blocks_of
    _check_names("riders", riders)
    _check_names("sequences", sequences)
    if size < 1 or size % len(sequences):
        wanted = f"a multiple of the {len(sequences)} sequences"
        raise Refusal("riders a block", f"{blocks_of}", wanted, f"write {2 * len(sequences)}")
    rng = _start_stream(seed)
    block = np.repeat(np.asarray(sequences, dtype=object), size // len(sequences))
    n_blocks = -(-len(riders) // size)
    drawn = np.concatenate([rng.permutation(block) for _ in range(n_blocks)])[: len(riders)]
    numbers = 1 + np.arange(len(riders)) // size
    return pd.DataFrame({"rider": list(riders), "block": numbers, "sequence": drawn.astype(str)})


def order_intensities(riders: Sequence[str], intensities: Sequence[str], seed: int) -> pd.DataFrame:
    """Counterbalance the order of intensities over riders by a Williams design, its orders drawn at random.

    A rider keeps one order in all periods, so that it cannot differ between the rings. After every t riders
    (2t for odd t) each intensity has been at each place equally often, and after each other one.

    Returns
    -------
    DataFrame
        One row a rider and place: rider, place (from 1), intensity.

    Raises
    ------
    Refusal
        As `allocate_riders`; fewer than two intensities.

    Examples
    --------
    >>> orders = order_intensities(["R01", "R02"], ["low", "high"], seed=1)
    >>> sorted(orders[orders.place == 1].intensity)
    ['high', 'low']
    """
    _check_names("riders", riders)
    orders = list(williams_design(intensities).values())
    rng = _start_stream(seed)
    rounds = -(-len(riders) // len(orders))
    drawn = np.concatenate([rng.permutation(len(orders)) for _ in range(rounds)])[: len(riders)]
    rows = [
        (rider, place, intensity)
        for rider, which in zip(riders, drawn, strict=True)
        for place, intensity in enumerate(orders[which], start=1)
    ]
    return pd.DataFrame(rows, columns=["rider", "place", "intensity"])


def _check_names(what: str, names: Sequence[str]) -> None:
    if isinstance(names, str) or not len(names) or len(set(names)) < len(names):
        raise Refusal(what, f"{names!r}", "a list of different names", "list each once")


def _start_stream(seed: int) -> np.random.Generator:
    if isinstance(seed, bool) or not isinstance(seed, int | np.integer) or seed < 0:
        raise Refusal(
            "seed", f"{seed!r}", "a whole number, 0 or more", "choose one and keep it with the study"
        )
    return np.random.default_rng(int(seed))
