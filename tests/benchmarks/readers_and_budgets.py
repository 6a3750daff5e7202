"""How fast are the readers against the libraries they stand on, and the budgets against reading?

Prints megabytes of numbers read a second (eight bytes a number) beside the plain library call that gives the same
columns, run in the same process on the same file; then what the budgets and power errors of a rider of sixty trials take
against reading and analysing those trials. Times are those of the processor, and every library works with one thread, so
that a busy machine changes little. Run it with one thread for BLAS::

    OPENBLAS_NUM_THREADS=1 python tests/benchmarks/readers_and_budgets.py [minutes] [rate_hz]
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import h5py
import numpy as np
import pandas as pd
import pyarrow
import pyarrow.csv
import pyarrow.parquet
from scipy.io import loadmat, savemat

from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.mechanics.periodic import crank_angles
from analysis_lib.mechanics.power_error import power_errors_by_sectors
from analysis_lib.mechanics.ring import Ring
from analysis_lib.mechanics.steady_speed import steady_speeds
from analysis_lib.signals.c3d_reader import read_c3d_columns
from analysis_lib.signals.csv_reader import read_csv_columns
from analysis_lib.signals.mat_reader import read_mat_columns
from analysis_lib.signals.parquet_reader import read_parquet_columns
from analysis_lib.signals.recording import ColumnSource, RecorderSettings, read_recording
from analysis_lib.signals.trial import analyse_trial
from analysis_lib.study.corrections.trial_budget import trial_budgets
from analysis_lib.study.declared.recorder_map import ColumnMap, RecorderMap

TRIALS = 60
TRIAL_S, TRIAL_HZ = 180, 200
NAMES = ["t", "angle", "left", "right"]


def make_table(seconds: float, rate_hz: float) -> pd.DataFrame:
    """Two legs at 90 rpm."""
    clock = np.arange(round(seconds * rate_hz)) / rate_hz
    crank = 3 * np.pi * clock
    legs = {"left": 11 - 22 * np.sin(crank), "right": 11 + 22 * np.sin(crank)}
    return pd.DataFrame({"t": clock, "angle": np.degrees(crank) % 360, **legs}).round(4)


def fastest(run: Callable[[], object], repeats: int = 3) -> float:
    """Shortest of several runs, s of this process's own work: what else the machine does has no part in it."""
    taken = []
    for _ in range(repeats):
        begun = time.process_time()
        run()
        taken.append(time.process_time() - begun)
    return min(taken)


def write_files(table: pd.DataFrame, folder: Path) -> dict[str, Path]:
    """Write the table once as each kind of file."""
    kinds = ("csv", "parquet", "mat 7", "mat 7.3", "c3d")
    paths = {kind: folder / f"ride.{kind.replace(' ', '_')}" for kind in kinds}
    table.to_csv(paths["csv"], index=False)
    table.to_parquet(paths["parquet"])
    savemat(paths["mat 7"], {name: table[name].to_numpy() for name in NAMES}, appendmat=False)
    with h5py.File(paths["mat 7.3"], "w") as file:
        for name in NAMES:
            file[name] = table[name].to_numpy()
    write_c3d(table, paths["c3d"])
    return paths


def write_c3d(table: pd.DataFrame, path: Path) -> None:
    """Write the channels with ezc3d, fifty samples a frame, for its header counts 65535 frames at most."""
    import ezc3d

    made = ezc3d.c3d()
    made["parameters"]["POINT"]["RATE"]["value"] = [20.0]
    made["parameters"]["ANALOG"]["RATE"]["value"] = [1000.0]
    made["parameters"]["ANALOG"]["LABELS"]["value"] = tuple(NAMES[1:])
    made["data"]["analogs"] = table[NAMES[1:]].to_numpy().T[None]
    made["data"]["points"] = np.zeros((4, 0, len(table) // 50))
    made.write(str(path))


def plain_hdf5(path: Path) -> list[np.ndarray]:
    """Each data set as h5py gives it."""
    with h5py.File(path) as file:
        return [file[name][()] for name in NAMES]


def plain_c3d(path: Path) -> np.ndarray:
    """The analogue channels as ezc3d gives them."""
    import ezc3d

    return ezc3d.c3d(str(path))["data"]["analogs"]


def print_readers(table: pd.DataFrame, folder: Path) -> None:
    """Print megabytes a second of each reader and of the call it stands on."""
    paths = write_files(table, folder)
    megabytes = table.size * 8 / 1e6
    ways = {
        "csv": (
            lambda path: read_csv_columns(path, NAMES, ",", "."),
            pyarrow.csv.read_csv,
            "pyarrow.csv.read_csv",
        ),
        "parquet": (
            lambda path: read_parquet_columns(path, NAMES),
            pyarrow.parquet.read_table,
            "pyarrow.parquet.read_table",
        ),
        "mat 7": (
            lambda path: read_mat_columns(path, NAMES),
            lambda path: loadmat(path, appendmat=False),
            "scipy.io.loadmat",
        ),
        "mat 7.3": (lambda path: read_mat_columns(path, NAMES), plain_hdf5, "h5py"),
        "c3d": (lambda path: read_c3d_columns(path, ["sample time", *NAMES[1:]]), plain_c3d, "ezc3d"),
    }
    print(f"{len(table)} samples of {len(NAMES)} columns, {megabytes:.0f} MB")
    for kind, (ours, plain, name) in ways.items():
        path = paths[kind]
        mine, theirs = fastest(lambda p=path, run=ours: run(p)), fastest(lambda p=path, run=plain: run(p))
        print(
            f"{kind:8s} {megabytes / mine:8.0f} MB/s    {name:28s} {megabytes / theirs:8.0f} MB/s"
            f"    time {mine / theirs:.2f} times"
        )


def print_budgets(folder: Path) -> None:
    """Print what sixty trials' budgets and power errors take against reading and analysing the trials."""
    path = folder / "trial.parquet"
    make_table(TRIAL_S, TRIAL_HZ).to_parquet(path)
    units = {"time_s": "s", "crank_deg": "deg", "torque_left_Nm": "N m", "torque_right_Nm": "N m"}
    named = dict(zip(units, NAMES, strict=True))
    settings = RecorderSettings(
        "parquet", {name: ColumnSource(named[name], unit) for name, unit in units.items()}
    )
    recorder = RecorderMap(
        kind="parquet",
        crank_side="right",
        columns={name: ColumnMap(column=named[name], unit=unit) for name, unit in units.items()},  # type: ignore[misc]
        slope_uncertainty_pct=1.0,
        angle_zero_uncertainty_deg=0.5,
        delay_uncertainty_ms=2.0,
    )
    oval = Drivetrain(Ring.ellipse(50, 1.10), mount_deg=70, sprocket_teeth=17, wheel_inertia_kgm2=12.0)
    result = analyse_trial(read_recording(path, settings))

    def all_errors() -> list[np.ndarray]:
        torque = np.stack([result.torque_at_angles() for _ in range(TRIALS)])
        speed = steady_speeds(torque, oval.gear(crank_angles(360)), oval.wheel_inertia_kgm2, 90.0)
        return power_errors_by_sectors(torque, speed, (1, 2, 4, 8))

    steps = {
        "reading": lambda: [read_recording(path, settings) for _ in range(TRIALS)],
        "reading and analysing": lambda: [
            analyse_trial(read_recording(path, settings)) for _ in range(TRIALS)
        ],
        "budgets": lambda: [trial_budgets(result, recorder) for _ in range(TRIALS)],
        "power errors, 4 meters": all_errors,
    }
    taken = {name: fastest(run, 9) for name, run in steps.items()}
    taken["budgets and errors"] = taken["budgets"] + taken["power errors, 4 meters"]
    print(f"{TRIALS} trials of {TRIAL_S} s at {TRIAL_HZ} Hz")
    for name, seconds in taken.items():
        print(f"{name:24s} {seconds:8.4f} s    {seconds / taken['reading']:.3f} times reading")


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("minutes", type=float, nargs="?", default=20.0)
    parser.add_argument("rate_hz", type=float, nargs="?", default=1000.0)
    given = parser.parse_args()
    pyarrow.set_cpu_count(1)
    pyarrow.set_io_thread_count(1)
    with tempfile.TemporaryDirectory() as folder:
        print_readers(make_table(60 * given.minutes, given.rate_hz), Path(folder))
        print_budgets(Path(folder))


if __name__ == "__main__":
    main()
