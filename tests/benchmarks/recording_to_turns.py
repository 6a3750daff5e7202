"""How long and how much memory does an hour of two-leg recording take on its way to turns?

Prints ratios against a plain way of doing the same, run in the same process on the same data: pandas groups the
samples by turn and numpy.interp reads each turn at the middle of every degree. Run it with one thread for BLAS::

    OPENBLAS_NUM_THREADS=1 python tests/benchmarks/recording_to_turns.py [minutes] [rate_hz]
"""

from __future__ import annotations

import argparse
import tempfile
import time
import tracemalloc
from pathlib import Path

import numpy as np
import pandas as pd

from analysis_lib.signals.recording import ColumnSource, RecorderSettings, Recording, read_recording
from analysis_lib.signals.revolutions import cut_turns
from analysis_lib.signals.stroke import turn_measures
from analysis_lib.signals.trial import analyse_trial

REPEATS = 5


def make_recording(minutes: float, rate_hz: float) -> Recording:
    """Two legs at 90 rpm, the crank faster and slower twice a turn."""
    time_s = np.arange(round(60 * minutes * rate_hz)) / rate_hz
    crank = 3 * np.pi * time_s - 0.01
    crank += 0.03 * np.sin(2 * crank)
    legs = {side: _leg(crank + turn) for side, turn in (("left", np.pi), ("right", 0.0))}
    return Recording(time_s, crank, legs, name="made up")


def _leg(crank: np.ndarray) -> np.ndarray:
    return 11 + 22 * np.cos(crank - 1.6) + 5.5 * np.cos(2 * crank - 3.6) + 1.2 * np.cos(3 * crank - 5.0)


def turns_by_groupby(recording: Recording) -> pd.DataFrame:
    """The plain way: profiles at the middle of each degree, the time of each degree, and a table of turns."""
    samples = pd.DataFrame({"time_s": recording.time_s, "crank_rad": recording.crank_rad, **recording.torque})
    samples["turn"] = np.floor(samples["crank_rad"] / (2 * np.pi)).astype(int)
    middle, edges = np.radians(np.arange(0.5, 360)), np.radians(np.arange(361))
    rows = []
    for turn, group in samples.groupby("turn"):
        crank = group["crank_rad"].to_numpy() - 2 * np.pi * turn
        clock = group["time_s"].to_numpy()
        profiles = {side: np.interp(middle, crank, group[side].to_numpy()) for side in ("left", "right")}
        passed = np.interp(edges, crank, clock)
        both = profiles["left"] + profiles["right"]
        rows.append(
            {
                "turn": turn,
                "start_s": passed[0],
                "duration_s": passed[-1] - passed[0],
                "cadence_rpm": 60 / (passed[-1] - passed[0]),
                "mean_torque_Nm": both.mean(),
                "profiles": profiles,
                "bin_time_s": np.diff(passed),
            }
        )
    return pd.DataFrame(rows)


def turns_by_cutting(recording: Recording) -> pd.DataFrame:
    """This project's way to the same."""
    return cut_turns(recording).table()


def fastest(run, recording, repeats: int = REPEATS) -> float:
    """Shortest of several runs, s: the others were disturbed."""
    taken = []
    for _ in range(repeats):
        begun = time.perf_counter()
        run(recording)
        taken.append(time.perf_counter() - begun)
    return min(taken)


def peak_memory(run, *arguments) -> int:
    """Bytes allocated at the peak of one run, over and above what was there before."""
    tracemalloc.start()
    kept = run(*arguments)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    del kept
    return peak


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("minutes", type=float, nargs="?", default=60.0)
    parser.add_argument("rate_hz", type=float, nargs="?", default=1000.0)
    given = parser.parse_args()
    recording = make_recording(given.minutes, given.rate_hz)
    arrays = [recording.time_s, recording.crank_rad, *recording.torque.values()]
    held = sum(array.nbytes for array in arrays)
    turns = cut_turns(recording)
    print(
        f"{recording.time_s.size} samples of two legs, {int(turns.kept.sum())} whole turns, {held / 1e6:.0f} MB"
    )

    rounds = [
        (fastest(turns_by_groupby, recording, 1), fastest(turns_by_cutting, recording, 2)) for _ in range(4)
    ]
    plain, cut = (min(column) for column in zip(*rounds, strict=True))
    print(f"groupby and interp      {plain:8.3f} s")
    print(f"cut_turns and table     {cut:8.3f} s    {plain / cut:.1f} times faster")
    noisy_crank = recording.crank_rad + np.radians(0.3) * np.random.default_rng(0).standard_normal(
        arrays[0].size
    )
    noisy = Recording(recording.time_s, noisy_crank, recording.torque)
    print(f"the same, angle jitter  {fastest(turns_by_cutting, noisy, 2):8.3f} s")
    print(f"turn_measures           {fastest(turn_measures, turns):8.3f} s")
    result = analyse_trial(recording)
    print(f"analyse_trial           {fastest(analyse_trial, recording, 2):8.3f} s")
    print(f"2000 torque draws       {fastest(lambda draws: result.torque_draws(draws, seed=1), 2000):8.3f} s")
    for name, run in (("groupby and interp", turns_by_groupby), ("cut_turns and table", turns_by_cutting)):
        peak = held + peak_memory(run, recording)
        print(f"peak memory, {name:20s} {peak / held:5.2f} times the arrays read")
    print_reading(recording, held)


def print_reading(recording: Recording, held: int) -> None:
    """Write the recording as CSV and Parquet and print what reading it takes."""
    frame = pd.DataFrame(
        {"t": recording.time_s, "angle": np.degrees(recording.crank_rad) % 360, **recording.torque}
    ).round(4)
    columns = {
        "time_s": ColumnSource("t", "s"),
        "crank_deg": ColumnSource("angle", "deg"),
        "torque_left_Nm": ColumnSource("left", "N m"),
        "torque_right_Nm": ColumnSource("right", "N m"),
    }
    with tempfile.TemporaryDirectory() as folder:
        paths = {"csv": Path(folder, "ride.csv"), "parquet": Path(folder, "ride.parquet")}
        frame.to_csv(paths["csv"], index=False)
        frame.to_parquet(paths["parquet"])
        del frame
        for kind, path in paths.items():
            settings = RecorderSettings(kind, columns)
            taken = fastest(lambda file, by=settings: read_recording(file, by), path, 2)
            peak = peak_memory(read_recording, path, settings)
            print(
                f"read_recording {kind:8s} {taken:8.3f} s    peak {peak / held:.2f} times the arrays (Python side)"
            )


if __name__ == "__main__":
    main()
