"""Playing CSV files: real files, bad rows, clock changes, bounded memory, pace."""

import threading
import time
import tracemalloc

import pytest

from rimekeeper.core.errors import ConfigError
from rimekeeper.core.model import Health, Scale
from rimekeeper.intake.replay import Progress, ReplayIntake
from support.inbox import KeepingInbox

HOUR = 3_600_000


@pytest.fixture
def inbox():
    return KeepingInbox()


def play(tmp_path, inbox, text, **options):
    file = tmp_path / "night.csv"
    file.write_bytes(text if isinstance(text, bytes) else text.encode())
    intake = ReplayIntake(file, inbox, **options)
    intake.start()
    assert intake.wait(10)
    intake.stop()
    assert not [t for t in threading.enumerate() if t.name == "replay replay"]
    return intake


def test_iso_times_and_fahrenheit(tmp_path, inbox):
    text = "\ufefftime,Probe,fahrenheit,note\r\n2026-11-25T18:00:00+01:00,pan,180,x\r\n2026-11-25T17:00:01.5Z, pan ,181F,\r\n\r\n"
    intake = play(tmp_path, inbox, text)
    assert [(s.channel, s.value, s.scale, s.taken_at, s.arrived_at) for s in inbox.samples] == [
        ("pan", 180.0, Scale.FAHRENHEIT, 1_795_626_000_000, 1_795_626_000_000),
        ("pan", 181.0, Scale.FAHRENHEIT, 1_795_626_001_500, 1_795_626_001_500),
    ]
    assert inbox.rejected == []
    assert (intake.readings, intake.refused) == (2, 0)
    assert intake.clock.now() == 1_795_626_001_500


def test_milliseconds_since_1970(tmp_path, inbox):
    play(tmp_path, inbox, "probe,celsius,time_ms\nfz1,-18.2,1700000000123\n")
    assert [(s.channel, s.value, s.scale, s.taken_at) for s in inbox.samples] == [
        ("fz1", -18.2, Scale.CELSIUS, 1_700_000_000_123)
    ]


def test_bad_rows_are_refused_by_line_and_the_rest_is_played(tmp_path, inbox):
    rows = [
        b"2026-11-25T18:00:00Z,pan,72",
        b"2026-11-25T18:00:01Z,pan",
        b"yesterday,pan,72",
        b"2026-11-25T18:00:02,pan,72",
        b"2026-11-25T18:00:03Z,pan,warm",
        b"2026-11-25T18:00:04Z,,72",
        b"2026-11-25T18:00:05Z,pan,nan",
        b"2026-11-25T18:00:06Z,pan,180F",
        b"\xff\xfe,pan,72",
        b'2026-11-25T18:00:07Z,"pan,72',
        b"x" * 10_000_000,
        b"2026-11-25T18:00:08Z,pan,73",
    ]
    intake = play(tmp_path, inbox, b"time,probe,celsius\n" + b"\n".join(rows))
    assert inbox.values == [72.0, 73.0]
    assert [r.why for r in inbox.rejected] == [
        "line 3: it has 2 cells, the first line names 3",
        'line 4: the time "yesterday" is not a time in ISO 8601 such as 2026-11-25T18:00:00Z',
        (
            'line 5: the time "2026-11-25T18:00:02" has no offset from UTC; '
            "write ...Z or ...+01:00, or give the kitchen's zone with the file"
        ),
        'line 6: the temperature "warm" is text, not a number',
        "line 7: probe: the name of the channel is empty",
        'line 8: the temperature "nan" is not a number: the instrument has no value to give',
        "line 9: the temperature says F, the column says C",
        "line 10: it is not text in UTF-8",
        "line 11: it is not CSV: unexpected end of data",
        "line 12: it is too long to be a reading",
    ]
    assert all(len(r.text) <= 200 for r in inbox.rejected)
    assert intake.refused == 10


@pytest.mark.parametrize(
    ("header", "why"),
    [
        ("time,celsius", "line 1: there is no column probe. The first line must name the columns"),
        ("probe,celsius", "there is no column time or time_ms"),
        (
            "time,probe,temp",
            'there is no column celsius or fahrenheit. The first line must name the columns: time (or time_ms), probe, celsius (or fahrenheit); it says "time, probe, temp"',
        ),
        (
            "time,time_ms,probe,celsius",
            "line 1: it names time and time_ms; give exactly one column time or time_ms",
        ),
        ("time,probe,celsius,celsius", "it names celsius and celsius"),
        ("", "there is no column time or time_ms"),
        (b"\xff\xfe", "line 1: this is not a CSV file in UTF-8"),
        (b"x" * 5_000, "it is too long to be a reading"),
    ],
)
def test_files_that_can_not_be_meant(tmp_path, inbox, header, why):
    file = tmp_path / "night.csv"
    file.write_bytes(header if isinstance(header, bytes) else header.encode())
    with pytest.raises(ConfigError) as fault:
        ReplayIntake(file, inbox)
    assert str(fault.value).startswith(str(file))
    assert why in str(fault.value)


def test_a_file_that_is_not_there(tmp_path, inbox):
    with pytest.raises(ConfigError, match=r"can't be read: No such file or directory\. Is the path right\?"):
        ReplayIntake(tmp_path / "none.csv", inbox)
    file = tmp_path / "night.csv"
    file.write_text("time,probe,celsius\n")
    with pytest.raises(ConfigError, match='"Kitchen/Slipway" is no time zone'):
        ReplayIntake(file, inbox, zone="Kitchen/Slipway")


def test_local_times_on_the_night_the_clocks_go_back(tmp_path, inbox):
    # Europe/Oslo, 2026-10-25: 03:00 summer time becomes 02:00 (tz database). 02:30 happens twice, an hour apart.
    rows = ["01:30", "02:30", "02:59", "02:30", "03:30"]
    text = "time,probe,celsius\n" + "".join(f"2026-10-25T{row}:00,fz1,-18\n" for row in rows)
    play(tmp_path, inbox, text, zone="Europe/Oslo")
    begin = inbox.samples[0].taken_at
    assert [(s.taken_at - begin) / HOUR for s in inbox.samples] == [0, 1, pytest.approx(89 / 60), 2, 3]


def test_local_times_that_never_were(tmp_path, inbox):
    # Europe/Oslo, 2026-03-29: 02:00 becomes 03:00 (tz database).
    play(tmp_path, inbox, "time,probe,celsius\n2026-03-29T02:30:00,fz1,-18\n", zone="Europe/Oslo")
    assert inbox.rejected[0].why == (
        'line 2: the time "2026-03-29T02:30:00" does not exist in Europe/Oslo: the clocks were put forward over it'
    )


def test_a_row_dated_years_ahead_is_refused_so_that_the_next_is_in_its_time(tmp_path, inbox):
    lines = ("2026-11-24T10:00:00Z", "2099-11-24T10:00:01Z", "2026-11-24T10:00:02Z")
    text = "time,probe,celsius\n" + "".join(f"{time},pan,20\n" for time in lines)
    intake = play(tmp_path, inbox, text)
    assert (intake.readings, intake.refused) == (2, 1)
    assert inbox.rejected[0].why == (
        "line 3: its time is in 2099, more than a year after the row before it, in 2026. "
        "Correct it, or replay the years as files of their own"
    )
    assert intake.clock.now() == 1_795_514_402_000


def test_rows_of_a_clock_that_was_never_set_keep_no_other_row_out(tmp_path, inbox):
    text = "time,probe,celsius\n1970-01-01T00:00:07Z,pan,20\n2026-11-24T10:00:02Z,pan,21\n"
    assert play(tmp_path, inbox, text).refused == 0


def test_progress_is_told_and_complete(tmp_path, inbox):
    told: list[Progress] = []
    text = "time_ms,probe,celsius\n" + "".join(f"{1_700_000_000_000 + n},p,1\n" for n in range(2_000))
    play(tmp_path, inbox, text, progress=told.append)
    assert told[-1] == Progress(len(text), len(text), 2_000, 0, 1_700_000_001_999, done=True)
    assert len(inbox.samples) == 2_000
    assert inbox.reports[-1].health is Health.NORMAL


def test_a_pace_can_be_set(tmp_path, inbox):
    text = "time_ms,probe,celsius\n" + "".join(f"{n * 1000},p,{n}\n" for n in range(4))
    began = time.monotonic()
    play(tmp_path, inbox, text, speed=10.0)
    assert 0.3 <= time.monotonic() - began < 1.0
    assert len(inbox.deliveries) == 4


def test_it_waits_while_the_inbox_is_full_and_loses_nothing(tmp_path, inbox):
    inbox.full = True

    def make_room():
        inbox.wait(lambda: inbox.refusals > 2)
        inbox.full = False

    threading.Thread(target=make_room).start()
    text = "time_ms,probe,celsius\n" + "".join(f"{n},p,{n}\n" for n in range(1_500))
    play(tmp_path, inbox, text)
    assert inbox.values == [float(n) for n in range(1_500)]
    assert inbox.refusals > 2


def test_it_knows_how_much_is_stored(tmp_path, inbox):
    text = "time_ms,probe,celsius\n" + "".join(f"{n},p,{n}\n" for n in range(1_200))
    intake = play(tmp_path, inbox, text)
    assert (intake.readings, intake.stored) == (1_200, 0)
    for delivery in inbox.deliveries:
        delivery.receipt.settle()
    assert intake.stored == 1_200


def test_it_can_be_stopped_in_the_middle(tmp_path, inbox):
    file = tmp_path / "night.csv"
    file.write_text("time_ms,probe,celsius\n0,p,1\n3600000,p,2\n")
    intake = ReplayIntake(file, inbox, speed=1.0)
    intake.start()
    inbox.wait(lambda: inbox.values == [1.0])
    intake.stop()
    assert intake.wait(1)
    assert inbox.values == [1.0]


class Forgetful:
    def deliver(self, delivery):
        return True

    def report(self, state):
        pass


def test_memory_stays_small_whatever_the_file(tmp_path):
    file = tmp_path / "long.csv"
    with file.open("w") as out:
        out.write("time_ms,probe,celsius\n")
        out.writelines(f"{1_700_000_000_000 + n},p,{n % 90}\n" for n in range(20_000))
    tracemalloc.start()
    try:
        intake = ReplayIntake(file, Forgetful())
        intake.start()
        assert intake.wait(30)
        intake.stop()
        assert tracemalloc.get_traced_memory()[1] < 1_500_000
    finally:
        tracemalloc.stop()
    assert intake.readings == 20_000
