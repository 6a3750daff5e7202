"""Curves laid aside in a file, so that those of a thousand riders take no memory until somebody asks for some."""

from __future__ import annotations

import os
from collections.abc import Collection
from functools import cached_property
from tempfile import TemporaryFile
from typing import IO

import numpy as np
import pandas as pd
from numpy.typing import NDArray


class CurvesAside:
    """Curves over the same angles, by key and rider, in a file without a name that ends with this object."""

    def __init__(self, angles: NDArray[np.float64]):
        self._angles = angles
        self._places: dict[tuple[str, ...], tuple[list[str], list[int]]] = {}
        self._count = 0

    @property
    def keys(self) -> Collection[tuple[str, ...]]:
        """Those under which there are curves."""
        return self._places.keys()

    def add(self, key: tuple[str, ...], rider: str, curve: NDArray[np.float64]) -> None:
        """Lay one curve aside."""
        self._file.seek(0, os.SEEK_END)
        self._file.write(np.asarray(curve, dtype=float).tobytes())
        riders, places = self._places.setdefault(key, ([], []))
        riders.append(rider)
        places.append(self._count)
        self._count += 1

    def under(self, key: tuple[str, ...]) -> pd.DataFrame:
        """Return the curves under a key, riders by angles; no row where there are none."""
        riders, places = self._places.get(key, ([], []))
        curves = np.empty((len(riders), len(self._angles)))
        for curve, place in zip(curves, places, strict=True):
            self._file.seek(place * curve.nbytes)
            curve[:] = np.frombuffer(self._file.read(curve.nbytes))
        return pd.DataFrame(curves, index=pd.Index(riders, name="rider"), columns=self._angles)

    @cached_property
    def _file(self) -> IO[bytes]:
        return TemporaryFile()
