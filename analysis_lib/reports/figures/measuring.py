"""How much room words take: measured in points as the SVG sets them, and each only once."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from matplotlib.backend_bases import RendererBase
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import text_to_path


@lru_cache(4096)
def measure(words: str, font: FontProperties, ismath: Any) -> tuple[float, float, float]:
    """Return width, height and descent of a line in points; pages set the same few words again and again."""
    return text_to_path.get_text_width_height_descent(words, font, ismath)


class Measuring(RendererBase):
    """Draws nothing; with a figure of 72 dots an inch its dots are points."""

    def get_text_width_height_descent(
        self, s: str, prop: FontProperties, ismath: Any
    ) -> tuple[float, float, float]:
        """Measure a line; the properties of its font may change after, so their copy is kept."""
        return measure(s, prop.copy(), ismath)
