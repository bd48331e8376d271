"""Probes as instruments on the pages: what is shown, what may be posted, how a wrong body is answered."""

from __future__ import annotations

import time
from dataclasses import replace

import pytest

from rimekeeper.core.commit import Commit
from rimekeeper.core.messages import BeginTest, Calibrate, EndTest
from rimekeeper.core.model import Actor, Instant, Millis, ProbeId, Quality, Reading, Reason
from rimekeeper.core.sensing.calibration.correction import errors, fit
from rimekeeper.core.sensing.calibration.record import (
    Calibration,
    CalibrationPoint,
    Correction,
    Method,
    PlungeTest,
    Written,
)
from rimekeeper.core.sensing.pace import Pace
from rimekeeper.core.state import MetrologySlot, ProbeSlot
from rimekeeper.keeping.reader import Reader
from rimekeeper.keeping.store import Store
from rimekeeper.review.last_day import HALF, LastDay
from rimekeeper.review.metrology import metrology_view
from rimekeeper.review.testing import enough_for_a_point
from rimekeeper.review.wording import Wording
from web.slipway import ADA, HOUR, MINUTE, Slipway, glance, plan

DAY = 24 * HOUR
NOON = 1_795_608_000_000
FRIDGE = ProbeId("fridge-air")


def point(celsius, shown, now, method=Method.ICE):
    return CalibrationPoint(
        method,
        celsius,
        0.03,
        shown,
        0.01,
        60,
        Written(now - 3 * MINUTE),
        Written(now - MINUTE),
        "crushed ice",
    )


def calibration(number, now, at, due):
    points = (point(0.0, 0.3, now), point(60.0, 60.5, now, Method.COMPARISON))
    correction = fit(points, -60.0, 200.0)
    return Calibration(
        number, FRIDGE, Written(at), Written(due), ADA, points, correction, 0.1, 0.1,
        errors(points, Correction()), errors(points, correction), "before the season",
    )  # fmt: skip


def plunge(number, now):
    return PlungeTest(
        number,
        FRIDGE,
        Written(now),
        ADA,
        6.2,
        0.3,
        "stirred water",
        0.1,
        59.8,
        0.05,
        200,
        Written(now - MINUTE),
        Written(now),
    )


@pytest.fixture
def bench(tmp_path):
    """A store with a probe that was held in ice (shown without a correction, and then with one), and its kitchen."""
    now = time.time_ns() // 1_000_000
    store = Store(tmp_path)
    kept = calibration(1, now, now - 30 * DAY, now + 5 * DAY)
    readings = [
        Reading(
            FRIDGE, Instant(now - second * 1000), Instant(now - second * 1000), 0.3,
            0.0 if second < 30 else 0.3, Quality.UNCERTAIN, Reason.FUNCTION_CHECK, calibration=1 if second < 30 else 0,
        )
        for second in range(70, 0, -1)
    ]  # fmt: skip
    before = [
        Reading(FRIDGE, Instant(now - 3 * HOUR + s * 1000), Instant(now - 3 * HOUR), 4.0, 4.0)
        for s in range(0, 600, 10)
    ]
    store.commit(Commit(readings=tuple(before + readings), measurements=(kept, plunge(2, now))))
    store.close()
    kitchen = Slipway(store.database, glance(now))
    slots = {FRIDGE: MetrologySlot(FRIDGE, kept, plunge(2, now))}
    kitchen.show(state=replace(kitchen.glance().state, metrology=slots))
    return kitchen, now


@pytest.fixture
def slipway(bench):
    return bench[0]


def test_the_probes_page_knows_each_probe_as_an_instrument(asker):
    measured = {one["probe"]: one for one in asker.get("/api/probes").json["measured"]}
    fridge, pan = measured["fridge-air"], measured["stove-pan"]
    assert fridge["calibration"]["state"] == "due soon"
    assert fridge["calibration"]["due_words"] == "due in 4 days"
    assert fridge["lag"]["words"] == "6.2 s ± 0.30 s in stirred water"
    assert [one["where"] for one in fridge["calibration"]["uncertainties"]] == [
        "at its present reading", "at 0.0 °C", "at 82.2 °C", "at \N{MINUS SIGN}18.0 °C",
    ]  # fmt: skip
    assert pan["calibration"]["state"] == "not calibrated"
    assert pan["counted_shown"] == "±1.00 °C"
    assert "assumed" in pan["counted_why"]
    assert "certificate" in pan["class"]["caution"]


def test_the_words_beside_a_number_say_that_nothing_is_in_force(asker, slipway, bench):
    _, now = bench
    found = {one["id"]: one["calibration_note"] for one in asker.get("/api/now").json["probes"]}
    assert found["stove-pan"] == "not calibrated"
    assert found["fridge-air"] == ""
    over = calibration(1, now, now - 400 * DAY, now - DAY)
    slipway.show(state=replace(slipway.glance().state, metrology={FRIDGE: MetrologySlot(FRIDGE, over)}))
    station = next(s for s in asker.get("/api/now").json["stations"] if s["id"] == "fridge")
    assert station["calibration_note"] == "calibration past due"


def test_a_probe_has_its_own_page_and_its_records(asker):
    probe = asker.get("/api/probes/fridge-air").json
    assert [(one["number"], one["kind"], one["in_use"]) for one in probe["history"]] == [
        (2, "plunge test", True), (1, "calibration", True),
    ]  # fmt: skip
    assert "Record from here" in asker.get("/probes/fridge-air").text
    assert asker.get("/probes/nobody").status == 404
    assert asker.get("/api/probes/nobody").status == 404


@pytest.mark.parametrize(
    ("number", "words"),
    [
        (1, ["Calibration record", "No. 1", "Mix fridge air", "+0.30 °C", "as found", "before the season", "crushed ice", "EN 12830", "not a certificate of an accredited"]),
        (2, ["Plunge test record", "6.20 s", "±0.30 s", "stirred water", "not a certificate of an accredited"]),
    ],
)  # fmt: skip
def test_a_record_is_a_page_to_print(asker, number, words):
    reply = asker.get(f"/certificates/{number}")
    assert reply.status == 200
    for one in words:
        assert one in reply.text


def test_a_record_that_is_not_there(asker):
    assert asker.get("/certificates/77").status == 404
    assert asker.get("/certificates/99999999999999999999").status == 404
    assert asker.get("/certificates/one").status == 404


def test_steadiness_is_of_what_the_probe_showed_before_its_correction(asker, bench):
    view = asker.get("/api/probes/fridge-air/steadiness?seconds=90").json
    assert view["steady"], view["why"]
    assert view["mean"] == pytest.approx(0.3, abs=0.005)
    assert max(view["values"]) - min(view["values"]) < 0.01
    assert len(view["times"]) == 70


@pytest.mark.parametrize("query", ["seconds=0", "seconds=9999", "seconds=x", "since=yesterday", "since=-5"])
def test_a_stretch_that_makes_no_sense(asker, query):
    assert asker.get(f"/api/probes/fridge-air/steadiness?{query}").status == 400


def test_the_end_of_a_test_and_its_beginning_are_commands(asker, slipway):
    asker.post(
        {"command": "begin-test", "probe": "fridge-air", "why": "calibration", "minutes": 30, "who": "Ada"}
    )
    asker.post({"command": "end-test", "probe": "fridge-air"})
    assert [command for command, _ in slipway.given] == [
        BeginTest(FRIDGE, "calibration", 30 * MINUTE),
        EndTest(FRIDGE),
    ]
    assert asker.post({"command": "begin-test", "probe": "fridge-air", "minutes": 0}).status == 400


def test_a_kept_point_carries_the_stored_mean_and_not_one_of_the_page(asker, slipway, bench):
    _, now = bench
    body = {
        "points": [{"method": "ice point", "since": now - 70_000, "until": now}],
        "keep": True,
        "who": "Bo",
        "note": "spring",
    }
    reply = asker.post(body, path="/api/probes/fridge-air/calibration")
    assert reply.status == 200, reply.text
    ((command, actor),) = slipway.given
    assert isinstance(command, Calibrate)
    (kept,) = command.points
    assert kept.shown == pytest.approx(0.3, abs=0.005)
    assert (kept.reference, kept.readings, command.note) == (0.0, 70, "spring")
    assert actor == Actor("Bo", "web page")
    assert reply.json["preview"]["before_words"] == "calibration 1"


ICE = {"method": "ice point", "since": 1, "until": 2}


@pytest.mark.parametrize(
    "body",
    [
        "not json", [], {}, {"points": []}, {"points": [ICE] * 13}, {"points": [{**ICE, "mean": 0.0}]},
        {"points": [{**ICE, "since": "1"}]}, {"points": [{**ICE, "until": -1}]}, {"points": [ICE], "keep": "yes"},
        {"points": [{**ICE, "method": "palm"}]}, {"points": [{**ICE, "method": "boiling point"}]},
        {"points": [{**ICE, "method": "boiling point", "kilopascal": 100.0, "metres": 5.0}]},
        {"points": [{**ICE, "method": "boiling point", "kilopascal": 9.0}]},
        {"points": [{**ICE, "method": "comparison", "celsius": 20.0, "expanded": 0.0}]},
        {"points": [{**ICE, "method": "comparison", "celsius": 20.0}]},
        {"points": [ICE], "shown": 0.3}, {"points": [ICE], "note": "x" * 2001},
    ],
)  # fmt: skip
def test_a_malformed_calibration_is_400_with_a_sentence(asker, slipway, body):
    reply = asker.post(body, path="/api/probes/fridge-air/calibration")
    assert reply.status == 400
    assert reply.json["sentence"]
    assert slipway.given == []


def test_a_stretch_that_shows_nothing_is_refused(asker, slipway, bench):
    _, now = bench
    for body, words in (
        ({"points": [ICE]}, "No reading yet"),
        ({"points": [{**ICE, "since": 1, "until": now}]}, "too long"),
        (
            {
                "points": [
                    {**ICE, "since": now - 70_000, "until": now},
                    {**ICE, "since": now - 70_000, "until": now},
                ]
            },
            "share readings",
        ),
    ):
        reply = asker.post(body, path="/api/probes/fridge-air/calibration")
        assert reply.status == 409
        assert words in reply.json["sentence"]
    flat = asker.post(
        {"since": now - 70_000, "until": now, "medium": "water"}, path="/api/probes/fridge-air/plunge"
    )
    assert flat.status == 409
    assert "K only" in flat.json["sentence"]
    assert slipway.given == []


@pytest.mark.parametrize("path", ["/api/probes/fridge-air/calibration", "/api/probes/fridge-air/plunge"])
def test_nobody_else_s_page_may_post_points(asker, slipway, path):
    assert (
        asker.post({"points": [ICE], "keep": True}, path=path, Content_Type="application/json").status == 403
    )
    assert (
        asker.post(
            {"points": [ICE]}, path=path, X_Rimekeeper_Page="1", Origin="http://elsewhere.example"
        ).status
        == 403
    )
    assert asker.post(b"x" * 20_000, path=path).status == 400
    assert slipway.given == []


def test_the_last_day_says_where_readings_are_missing_or_doubted(bench):
    kitchen, now = bench
    day = LastDay(Reader(kitchen.database)).of(FRIDGE, Instant(now), Wording.of(plan()))
    assert len(day["halves"]) == 48
    assert len(day["values"]) == 96
    assert day["halves"][-1]["reason"] == "being tested"
    assert day["halves"][0]["quality"] == "none"
    place = (now - 3 * HOUR - day["begins"]) // HALF
    assert day["halves"][place]["quality"] == "good"
    assert "without readings" in day["words"]
    assert "being tested" in day["words"]


def test_the_last_day_is_remembered_and_then_looked_at_again(bench):
    kitchen, now = bench

    class Counting(Reader):
        asked = 0

        def stretches(self, *more):
            self.asked += 1
            self.since = more[1]
            return super().stretches(*more)

    reader = Counting(kitchen.database)
    days, wording = LastDay(reader), Wording.of(plan())
    first = days.of(FRIDGE, Instant(now), wording)
    assert days.of(FRIDGE, Instant(now + 5_000), wording)["words"] == first["words"]
    assert reader.asked == 1
    days.of(FRIDGE, Instant(now + 60_000), wording)
    assert reader.asked == 2
    assert now - reader.since < HOUR


def test_a_slow_probe_is_given_the_time_that_it_needs():
    slow = ProbeSlot(ProbeId("pan"), pace=Pace(interval=Millis(60_000)))
    assert enough_for_a_point(slow) == 960  # twice the eight readings that the criterion asks for
    assert enough_for_a_point(None) == 180
    assert enough_for_a_point(replace(slow, pace=Pace(interval=Millis(1_000)))) == 180
    assert enough_for_a_point(replace(slow, pace=Pace(interval=Millis(3_600_000)))) == 3_600


def test_what_a_silent_probe_showed_is_not_what_it_shows():
    now = Instant(NOON + 3_600_000)
    seen = metrology_view(glance(NOON), ProbeId("fridge-air"), now, Wording.of(glance(NOON).plan))
    assert (seen["uncorrected_celsius"], seen["uncorrected_shown"], seen["corrected_shown"]) == (
        None,
        "—",
        "—",
    )
    assert seen["counted_why"].endswith(", at 0 °C")
    there = metrology_view(glance(NOON), ProbeId("fridge-air"), Instant(NOON), Wording.of(glance(NOON).plan))
    assert there["corrected_shown"] != "—"
