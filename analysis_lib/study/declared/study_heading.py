"""What a study is called, what it asks, and what every page says below its title."""

from __future__ import annotations

from pydantic import Field

from analysis_lib.study.declared.schema import SettingsPart, Word

SIMULATED = "Simulated data: an invented scenario; no riders were measured."


class StudyHeading(SettingsPart):
    """What the study is called and what it asks."""

    name: Word = Field(description="name of the study")
    question: Word = Field(description="the question that the study answers, as one sentence")
    seed: int = Field(ge=0, description="whole number from which every random draw of the study follows")
    simulated: bool = Field(
        default=False,
        description="true where nobody was measured: every page then says that the data are simulated",
    )
    ended: bool = Field(
        default=False,
        description="true when no more trials will be ridden: until then an answer may be called an interim look",
    )

    @property
    def notice(self) -> str:
        """What every page says below its title; empty for a study of people."""
        return SIMULATED if self.simulated else ""
