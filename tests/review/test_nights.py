from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from rimekeeper.core.model import Instant, ProbeId, Scale, Temperature
from rimekeeper.core.plan import LimitPlan, Side, StageKind
from rimekeeper.keeping.reader import Reader
from rimekeeper.keeping.rows import Curve
from rimekeeper.review.nights import bounds, excursions_of, night_of, night_page
from rimekeeper.review.wording import Wording
from web.slipway import HOUR, MINUTE, fill, glance

ZONE = "Europe/Copenhagen"
HERE = Wording(Scale.CELSIUS, ZONE)
# 11:00 in Copenhagen: the filled store's history reaches back to 20:00 the evening before.
NOW = round(datetime(2026, 11, 25, 10, 0, tzinfo=UTC).timestamp() * 1000)


def test_a_night_is_eighteen_to_eight_and_follows_the_clock_changes():
    begins, ends = bounds(date(2026, 11, 24), ZONE)
    assert (HERE.clock(begins), HERE.clock(ends), ends - begins) == ("18:00", "08:00", 14 * HOUR)
    # Clocks go back on 25 October 2026 and forward on 28 March 2027 (Directive 2000/84/EC: last Sundays).
    begins, ends = bounds(date(2026, 10, 24), ZONE)
    assert ends - begins == 15 * HOUR
    begins, ends = bounds(date(2027, 3, 27), ZONE)
    assert ends - begins == 13 * HOUR


@pytest.mark.parametrize(("hour", "night"), [(10, 24), (16, 24), (17, 25), (22, 25)])
def test_the_newest_night_is_the_one_that_has_begun(hour, night):
    at = Instant(round(datetime(2026, 11, 25, hour, 30, tzinfo=UTC).timestamp() * 1000))
    assert night_of(at, ZONE) == date(2026, 11, night)


def curve(*points):
    return Curve(
        ProbeId("p"),
        [p[0] * MINUTE for p in points],
        [p[1] for p in points],
        [0] * len(points),
        False,
        len(points),
    )


def test_excursions_are_found_and_end_where_the_line_breaks():
    ceiling = LimitPlan(Side.CEILING, Temperature(-18.0))
    line = curve((0, -20.0), (1, -17.0), (2, -15.5), (3, -19.0), (4, -17.9), (5, None), (6, -17.5))
    found = excursions_of(line, ceiling, Instant(7 * MINUTE), HERE)
    assert [(e["begins"] // MINUTE, e["ends"] // MINUTE, e["worst_celsius"]) for e in found] == [
        (1, 3, -15.5),
        (4, 5, -17.9),
        (6, 7, -17.5),
    ]
    assert excursions_of(curve((0, -18.0)), ceiling, Instant(MINUTE), HERE) == []
    floor = LimitPlan(Side.FLOOR, Temperature(1.0))
    (low,) = excursions_of(curve((0, 2.0), (1, 0.2), (2, -0.4), (3, 1.0)), floor, Instant(4 * MINUTE), HERE)
    assert (low["worst_celsius"], low["sentence"][:15]) == (-0.4, "below the floor")


@pytest.fixture(scope="module")
def night(tmp_path_factory):
    reader = Reader(fill(tmp_path_factory.mktemp("night"), NOW))
    return night_page(glance(NOW), reader, date(2026, 11, 24), Instant(NOW))


def test_stations_say_what_is_not_known(night):
    walkin = next(s for s in night["stations"] if s["id"] == "walkin")
    assert walkin["summary"][0] == "abnormal"
    assert any(e["source"] == "limit" for e in walkin["excursions"])
    fridge = next(s for s in night["stations"] if s["id"] == "fridge")
    assert fridge["summary"] == ("unknown", "within limits where known, but not all of the night is known")
    assert fridge["gaps"][0]["sentence"] == "not known 18:00 to 20:00"


def test_hardening_is_aligned_at_its_beginning_beside_the_week_before(night):
    tonight = [one for one in night["hardening"] if one["this_night"]]
    earlier = [one for one in night["hardening"] if not one["this_night"]]
    assert [one["batch"] for one in tonight] == ["custard-6"]
    assert [one["batch"] for one in earlier] == ["custard-5", "custard-4", "custard-3"]
    for one in night["hardening"]:
        assert one["minutes"][0] == 0.0
        assert len(one["minutes"]) == len(one["values"])
    # The filled curves are -31 + 25.5 exp(-(m-25)/tau): they cross -18 at 25 + tau ln(25.5/13) minutes.
    assert tonight[0]["took_shown"] == "1 h 29 min"


def with_stages(sheet, **changed):
    return replace(
        sheet, stages=tuple(replace(s, **changed) if s.kind is StageKind.HARDEN else s for s in sheet.stages)
    )


def test_hardening_compares_one_stage_of_one_sheet_and_labels_it_by_its_day(night):
    assert {one["kind"] for one in night["hardening"]} == {"barley-custard/harden"}
    assert [one["label"] for one in night["hardening"]] == [
        "Tue 24 Nov",
        "Mon 23 Nov",
        "Sun 22 Nov",
        "Sat 21 Nov",
    ]
    assert night["hot"] == 10.0


def test_a_portion_that_is_stirred_in_again_is_no_hardening(tmp_path):
    reader, here = Reader(fill(tmp_path, NOW)), glance(NOW)
    portion = {name: with_stages(sheet, portion="frozen portion") for name, sheet in here.plan.sheets.items()}
    plan = replace(here.plan, sheets=portion)
    assert night_page(replace(here, plan=plan), reader, date(2026, 11, 24), Instant(NOW))["hardening"] == []


def test_earlier_nights_alone_are_nothing_to_compare_with(tmp_path):
    """The night of the 25th has only just begun and nothing hardens in it: last week's curves would mislead."""
    reader, now = Reader(fill(tmp_path, NOW)), Instant(NOW + 9 * HOUR)
    assert night_page(glance(now), reader, date(2026, 11, 25), now)["hardening"] == []


def test_a_night_without_anything_says_so(tmp_path):
    reader = Reader(fill(tmp_path, NOW))
    old = night_page(glance(NOW), reader, date(2026, 10, 1), Instant(NOW))
    assert {s["summary"][0] for s in old["stations"]} == {"unknown"}
    assert old["hardening"] == []
    assert old["events"] == []
