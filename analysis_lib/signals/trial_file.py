"""The result of a trial as one plain file, from which the very same result is read back.

The file is NumPy's archive of arrays. Tables stand in it as Parquet, everything small as JSON, each as an array of bytes.
Nothing in it is ever run, so a file of a stranger's can be wrong but does no harm.
"""

from __future__ import annotations

import io
import json
from dataclasses import asdict
from typing import IO, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis_lib.signals.revolutions import Turns
from analysis_lib.signals.trial import TrialResult
from analysis_lib.signals.turn_rules import TurnRules

FACTS = ("name", "layout", "reasons", "assumptions", "cautions", "quality")
"""The small parts of a result."""

OF_TURNS = ("number", "start_s", "duration_s", "bin_time_s", "reason")
"""The arrays of the kept turns, beside their profiles."""

Array = NDArray[Any]


def write_trial(stream: IO[bytes], result: TrialResult) -> None:
    """Write a trial's result; numbers keep every bit."""
    kept = result.kept
    facts = {name: getattr(result, name) for name in FACTS} | {
        "rules": asdict(kept.rules),
        "turns_layout": kept.layout,
        "channels": list(kept.profiles),
        "legs": list(result.radial_N),
    }
    arrays: dict[str, Array] = {"facts": _as_bytes(json.dumps(facts).encode("utf-8"))}
    arrays |= {"turns": _table_as_bytes(result.turns), "summary": _table_as_bytes(result.summary)}
    arrays |= {f"kept_{name}": getattr(kept, name) for name in OF_TURNS}
    arrays |= {f"profile_{channel}": profile for channel, profile in kept.profiles.items()}
    arrays |= {f"radial_{leg}": radial for leg, radial in result.radial_N.items()}
    np.savez(stream, **arrays)  # type: ignore[arg-type]  # its stubs take the names for options


def read_trial(stream: IO[bytes]) -> TrialResult:
    """Read a trial's result back.

    Raises
    ------
    ValueError, KeyError, TypeError, EOFError, zipfile.BadZipFile
        For whatever `write_trial` did not write.
    """
    with np.load(stream, allow_pickle=False) as arrays:
        facts = json.loads(arrays["facts"].tobytes())
        kept = Turns(
            **{name: arrays[f"kept_{name}"] for name in OF_TURNS},
            profiles={channel: arrays[f"profile_{channel}"] for channel in facts["channels"]},
            layout=facts["turns_layout"],
            rules=TurnRules(**facts["rules"]),
        )
        return TrialResult(
            **{name: facts[name] for name in FACTS},
            turns=_table(arrays["turns"]),
            summary=_table(arrays["summary"]),
            kept=kept,
            radial_N={leg: arrays[f"radial_{leg}"] for leg in facts["legs"]},
        )


def _as_bytes(content: bytes) -> Array:
    return np.frombuffer(content, dtype=np.uint8)


def _table_as_bytes(table: pd.DataFrame) -> Array:
    content = io.BytesIO()
    table.to_parquet(content)
    return _as_bytes(content.getvalue())


def _table(content: Array) -> pd.DataFrame:
    return pd.read_parquet(io.BytesIO(content.tobytes()))
