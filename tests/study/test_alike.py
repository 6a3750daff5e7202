"""Messages alike, told once: what is grouped, what is not, and what is left to read."""

from analysis_lib.study.checks.alike import grouped


def said(trial, got="'7'", column="mount_deg", row=3):
    return f"trials.csv, row {row} ({trial}), column {column} – got {got} – wanted one of 60, 75 – correct it"


def test_a_flood_is_told_once_with_the_others_names():
    trials = [f"R{rider:02d}-P{period}-easy" for rider in range(1, 5) for period in (1, 2)]
    lines = grouped([said(trial, f"'{row}'", row=row) for row, trial in enumerate(trials, 2)], trials)
    assert lines == [
        said(trials[0], "'2'", row=2),
        "… and 7 more like it: R01-P2-easy, R02-P1-easy, R02-P2-easy, R03-P1-easy, R03-P2-easy, R04-P1-easy, …",
    ]


def test_three_alike_are_told_in_full():
    trials = ["T1", "T2", "T3"]
    assert len(grouped([said(trial) for trial in trials], trials)) == 3


def test_other_columns_are_other_messages_and_keep_their_order():
    trials = [f"T{number}" for number in range(1, 6)]
    lines = grouped([said(t, column=c) for t in trials for c in ("mount_deg", "file")], trials)
    assert len(lines) == 4
    assert "column mount_deg" in lines[0] and lines[1].endswith("T2, T3, T4, T5")
    assert "column file" in lines[2]


def test_recordings_are_named_where_no_trial_is():
    files = [
        f"T{number}.csv, torque – got a mean of {number}.5 N·m – wanted at most 300 N·m – look"
        for number in range(5)
    ]
    assert (
        grouped(files)[1]
        == "… and 4 more like it: T1.csv, torque, T2.csv, torque, T3.csv, torque, T4.csv, torque"
    )


def test_large_numbers_are_alike_whatever_way_they_are_written():
    values = ["995.2", "1.2e+04", "2.31e+05", "9e+03", "1.1e-05"]
    assert len(grouped(said(f"T{n}", value) for n, value in enumerate(values))) == 2


def test_a_message_said_twice_counts_once():
    assert grouped([said("T1")] * 5, ["T1"]) == [said("T1")]


def test_nothing_is_nothing():
    assert grouped([]) == []


def test_what_tells_messages_apart_is_never_lost():
    """Five columns of one table are missing: the place is the same, the columns are not."""
    columns = ["trial", "rider", "period", "ring", "file"]
    lines = grouped(f"trials.csv, row 1 – got no column '{name}' – wanted all – add it" for name in columns)
    assert (
        lines[1]
        == "… and 4 more like it: got no column 'rider', got no column 'period', got no column 'ring', got no column 'file'"
    )
    one = [
        f"trials.csv, row 2 (T1), column c{n} – got '{n}' – wanted a number – correct it" for n in range(5)
    ]
    assert "column c4" in grouped(one, ["T1"])[1]
