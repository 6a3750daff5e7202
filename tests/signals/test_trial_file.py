"""The file of a trial's result gives the very same result back, and whatever else lies there is no result."""

import io
import pickle
import zipfile
from dataclasses import fields, is_dataclass

import numpy as np
import pandas as pd
import pytest
from rides import ride

from analysis_lib.refusals import Refusal
from analysis_lib.reports.files.places import demo_folder
from analysis_lib.signals.recording import Recording
from analysis_lib.signals.trial import analyse_trial
from analysis_lib.signals.trial_file import read_trial, write_trial
from analysis_lib.study.checks.folder import open_study


def written(result) -> bytes:
    """The file of a result."""
    stream = io.BytesIO()
    write_trial(stream, result)
    return stream.getvalue()


def assert_same(one, other, what="result"):
    """Equal to the last bit, in type, in the order of keys and in how arrays lie in memory."""
    assert type(one) is type(other), what
    if is_dataclass(one):
        for part in fields(one):
            assert_same(getattr(one, part.name), getattr(other, part.name), f"{what}.{part.name}")
    elif isinstance(one, np.ndarray):
        assert (one.dtype, one.shape, one.strides, one.tobytes()) == (
            other.dtype,
            other.shape,
            other.strides,
            other.tobytes(),
        ), what
    elif isinstance(one, pd.DataFrame):
        pd.testing.assert_frame_equal(
            one, other, check_exact=True, check_index_type="exact", check_column_type="exact"
        )
        assert type(one.index) is type(other.index), what
        for name in one.select_dtypes("number"):
            assert_same(one[name].to_numpy(), other[name].to_numpy(), f"{what}.{name}")
    elif isinstance(one, dict):
        assert list(one) == list(other), what
        for key in one:
            assert_same(one[key], other[key], f"{what}[{key}]")
    elif isinstance(one, list):
        assert len(one) == len(other), what
        for place, (left, right) in enumerate(zip(one, other, strict=True)):
            assert_same(left, right, f"{what}[{place}]")
    else:
        assert repr(one) == repr(other), what


def _recording(layout, **more):
    whole = ride(rate_hz=200.0, duration_s=30.0)
    torque = whole.torque
    channels = {
        "two legs": torque,
        "total only": {"total": torque["left"] + torque["right"]},
        "left only": {"left": torque["left"]},
        "right only": {"right": torque["right"]},
    }
    return Recording(whole.time_s, whole.crank_rad, channels[layout], name=f"{layout}, 90°", **more)


@pytest.mark.parametrize("layout", ["two legs", "total only", "left only", "right only"])
def test_a_result_of_every_layout_comes_back_to_the_bit(layout):
    result = analyse_trial(_recording(layout))
    assert result.layout == layout
    assert_same(read_trial(io.BytesIO(written(result))), result)


def test_forces_along_the_crank_come_back_to_the_bit():
    along = {leg: 100 * np.cos(np.linspace(0, 300, 6000)) for leg in ("right", "left")}
    result = analyse_trial(_recording("two legs", radial_N=along, crank_length_m=0.17))
    again = read_trial(io.BytesIO(written(result)))
    assert list(again.radial_N) == ["right", "left"]
    assert_same(again, result)


def test_dropped_turns_and_numbers_that_are_none_come_back_to_the_bit():
    """One turn alone has no standard errors; -0.0 and NaN are numbers with bits of their own."""
    result = analyse_trial(ride(rate_hz=100.0, duration_s=1.2, start_deg=0.0))
    assert len(result.turns) == 1
    assert result.summary["se"].isna().any()
    result.kept.profiles["left"][0, :2] = -0.0, np.nan
    assert_same(read_trial(io.BytesIO(written(result))), result)


@pytest.mark.parametrize("share", [0.0, 0.3, 0.99])
def test_a_file_that_breaks_off_is_no_result(share):
    whole = written(analyse_trial(_recording("left only")))
    with pytest.raises((ValueError, EOFError, zipfile.BadZipFile)):
        read_trial(io.BytesIO(whole[: int(share * len(whole))]))


class _Harm:
    def __reduce__(self):
        return (pytest.fail, ("what was stored has been run",))


def test_nothing_in_a_file_is_ever_run():
    """NumPy would unpickle an array of objects where it is allowed to, and a bare pickle in place of an archive."""
    harm = io.BytesIO()
    np.savez(harm, facts=np.array([_Harm()], dtype=object))
    for content in (harm.getvalue(), pickle.dumps(_Harm())):
        with pytest.raises(ValueError, match="allow_pickle"):
            read_trial(io.BytesIO(content))


@pytest.mark.long
def test_every_result_of_the_demo_study_comes_back_to_the_bit():
    """Of both its recorders, with dropped turns and cautions; a recording that is refused has no result."""
    study, refused = open_study(demo_folder()), []
    for trial in study.trials["trial"]:
        try:
            result = study.load_trial(trial)
        except Refusal as refusal:
            refused.append(refusal)
            continue
        assert_same(read_trial(io.BytesIO(written(result))), result)
    assert len(refused) < 0.1 * len(study.trials)
