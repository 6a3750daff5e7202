"""The settings of a study: study.toml, read and checked."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Annotated, Any

from pydantic import AfterValidator, Field, ValidationError, model_validator

from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.refusals import Refusal, Refusals
from analysis_lib.study.declared.declared_lists import check_intensities, check_outcomes
from analysis_lib.study.declared.equipment import DrivetrainSettings, RingSettings, Role
from analysis_lib.study.declared.faults import Place, placed, refusals_from
from analysis_lib.study.declared.problems import listed, or_refuse, suggest
from analysis_lib.study.declared.protocol import Design, Intensity, Metabolism, Outcome, Plan, Rules
from analysis_lib.study.declared.recorder_map import RecorderMap
from analysis_lib.study.declared.ring_roles import check_roles, spell_williams, unknown_rings
from analysis_lib.study.declared.schema import Name, SettingsPart, is_inside
from analysis_lib.study.declared.study_heading import StudyHeading

FILE = "study.toml"


class StudySettings(SettingsPart):
    """Everything that study.toml declares.

    Attributes
    ----------
    study : StudyHeading
    rings : dict of str to RingSettings
        By the ring's name in trials.csv; one plays the round ring and each other one an oval ring.
    drivetrain : DrivetrainSettings
    intensities : list of Intensity
        Sorted by their `order`.
    outcomes : list of Outcome
        Exactly one of them primary.
    design : Design
    recorders : dict of str to RecorderMap
        By the recorder's name in trials.csv and zero_checks.csv.
    rules : Rules
    metabolism : Metabolism or None
        Needed where an outcome is derived.
    plan : Plan or None
        Only `roundoval plan` needs it.
    """

    study: StudyHeading
    rings: Annotated[dict[Name, RingSettings], AfterValidator(check_roles)]
    drivetrain: DrivetrainSettings
    intensities: Annotated[list[Intensity], Field(min_length=1), AfterValidator(check_intensities)]
    outcomes: Annotated[list[Outcome], Field(min_length=1), AfterValidator(check_outcomes)]
    design: Design
    recorders: dict[Name, RecorderMap] = Field(min_length=1)
    rules: Rules = Rules()
    metabolism: Metabolism | None = None
    plan: Plan | None = None

    @model_validator(mode="after")
    def _check_sequences(self) -> StudySettings:
        return or_refuse(self, unknown_rings(self.design.sequences, self.rings))

    @model_validator(mode="after")
    def _check_chainstay(self) -> StudySettings:
        """Every ring must clear the sprocket on the chainstay, wherever it is mounted."""
        faults = []
        for name, ring in self.rings.items():
            try:
                self.drivetrain.drivetrain(ring.ring(), 0.0, ring.teeth)
            except Refusal as fault:
                faults.append(replace(fault, what=f"drivetrain.{fault.what} under ring {name}"))
        return or_refuse(self, faults)

    @model_validator(mode="after")
    def _check_metabolism(self) -> StudySettings:
        derived = [outcome.name for outcome in self.outcomes if outcome.source == "derived"]
        faults = []
        if derived and self.metabolism is None:
            remedy = 'add one with equation = "brockway" and steady_change_pct, say 5.0'
            wanted = f"how {listed(derived)} is made from gas exchange"
            faults.append(Refusal("metabolism", "no [metabolism] table", wanted, remedy))
        return or_refuse(self, faults)

    @model_validator(mode="after")
    def _check_outcome_intensities(self) -> StudySettings:
        faults = [
            Refusal(
                f"outcomes, {outcome.name}, intensities",
                repr(name),
                f"some of {listed(self.intensity_names)}, each once",
                suggest(name, self.intensity_names, "use names of [[intensities]]"),
            )
            for outcome in self.outcomes
            for place, name in enumerate(outcome.intensities or ())
            if name not in self.intensity_names or name in (outcome.intensities or ())[:place]
        ]
        return or_refuse(self, faults)

    @property
    def primary_outcome(self) -> Outcome:
        """The outcome that the study was planned for."""
        return next(outcome for outcome in self.outcomes if outcome.primary)

    @property
    def planned(self) -> Plan:
        """The plan; refused where study.toml has none."""
        if self.plan is None:
            raise Refusal(FILE, "no [plan] table", "what the study is planned on", "add a [plan] table")
        return self.plan

    @property
    def intensity_names(self) -> list[str]:
        """The intensities' names, in their order."""
        return [part.name for part in self.intensities]

    @property
    def intensity_labels(self) -> dict[str, str]:
        """What reports call each intensity, by its name."""
        return {part.name: part.label for part in self.intensities}

    def intensity_label(self, name: object) -> str:
        """What reports call an intensity; any other word, such as "overall", stays as it is."""
        return self.intensity_labels.get(str(name), str(name))

    def intensities_of(self, outcome: Outcome) -> list[str]:
        """The intensities at which an outcome is analysed, in their order: all, unless it declares some."""
        wanted = outcome.intensities
        return [name for name in self.intensity_names if wanted is None or name in wanted]

    @property
    def periods(self) -> int:
        """How many periods every sequence has."""
        return len(next(iter(self.design.sequences.values())))

    @property
    def oval_rings(self) -> list[str]:
        """The names of the rings that are compared with the round one, as study.toml lists them."""
        return [name for name, ring in self.rings.items() if ring.role == "oval"]

    def ring_in_role(self, role: Role) -> str:
        """Name the ring that plays the round, or the oval, ring.

        Raises
        ------
        Refusal
            For the oval ring of a study that has several.
        """
        names = [name for name, ring in self.rings.items() if ring.role == role]
        if len(names) > 1:
            remedy = "name the one to compare, in a notebook by its parameter ring"
            raise Refusal(
                "the oval ring", f"{len(names)} of them: {listed(names)}", "one ring in that role", remedy
            )
        return names[0]

    def ring_label(self, ring: str) -> str:
        """Say how tables call a ring: by its role, or by its name where several play the oval ring."""
        role = self.rings[ring].role
        return ring if role == "oval" and len(self.oval_rings) > 1 else role

    def drivetrain_for(self, ring: str, mount_deg: float | None = None) -> Drivetrain:
        """Build the drivetrain with one of the study's rings on it.

        Parameters
        ----------
        ring : str
            The ring's name.
        mount_deg : float, optional
            Degrees from the right crank arm to the ring's major axis; not needed for a ring of axis ratio 1, nor
            for one whose entry fixes it.

        Raises
        ------
        Refusal
            For an unknown ring, or for an oval ring without a mount angle.
        """
        if ring not in self.rings:
            remedy = suggest(ring, self.rings, "use a ring of study.toml")
            raise Refusal("ring", repr(ring), f"one of {listed(self.rings)}", remedy)
        described = self.rings[ring]
        mount_deg = described.mount_deg if mount_deg is None else mount_deg
        if mount_deg is None and described.axis_ratio != 1:
            raise Refusal(
                f"mount_deg of ring {ring!r}", "none", "an angle in degrees", "state how the ring sits"
            )
        round_teeth = self.rings[self.ring_in_role("round")].teeth
        return self.drivetrain.drivetrain(described.ring(), mount_deg or 0.0, round_teeth)


def read_settings(path: Path) -> StudySettings:
    """Read and check a study.toml.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    StudySettings

    Raises
    ------
    Refusals
        Every fault at once, each with the path of its key.
    """
    given = spell_williams(_load_toml(path))
    try:
        return StudySettings.model_validate(given, context={"root": path.parent})
    except ValidationError as error:
        faults = refusals_from(error, StudySettings, _name_key)
        faulty = {fault["loc"][0] for fault in error.errors() if fault["loc"]}
        if not faulty & {"rings", "design"} and faulty:
            # Fields that failed keep pydantic from comparing the fields that passed, so that is done here.
            unknown = unknown_rings(given["design"]["sequences"], given["rings"])
            faults += [placed(refusal, FILE) for refusal in unknown]
        raise Refusals(faults) from error


def _load_toml(path: Path) -> dict[str, Any]:
    if not path.is_file():
        remedy = "point at a study folder, or make one with: roundoval new DIR"
        raise Refusals([Refusal(str(path), "no such file", f"a study folder with a {FILE}", remedy)])
    if not is_inside(path.parent, path):
        raise Refusals([Refusal(FILE, "a link out of the folder", "a file", "put the file itself there")])
    try:
        return tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except UnicodeDecodeError as error:
        refusal = Refusal(FILE, "text that is not UTF-8", "UTF-8", "save the file with the encoding UTF-8")
        raise Refusals([refusal]) from error
    except (ValueError, RecursionError) as error:  # also a number of thousands of digits, and lists as deep
        remedy = (
            "mend that line: words stand in quotation marks, numbers have a decimal point, lists have [ ]"
        )
        raise Refusals([Refusal(FILE, str(error), "a file in TOML", remedy)]) from error


def _name_key(place: Place) -> str:
    """Write a key's path as a reader counts: rings.oval.teeth, or intensities entry 2, name.

    >>> _name_key(("intensities", 1, "name"))
    'study.toml, intensities entry 2, name'
    """
    words = ""
    entered = False
    for part in place:
        if isinstance(part, int):
            words += f" entry {part + 1}"
        elif part != "[key]":
            words += f"{', ' if entered else '.' if words else ''}{part}"
        entered = isinstance(part, int)
    return f"{FILE}, {words}" if words else FILE
