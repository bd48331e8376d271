from __future__ import annotations

import pytest

from rimekeeper.core.model import HOUR, Instant
from rimekeeper.review.nights import night_of


def test_now_has_what_the_command_line_prints(asker):
    now = asker.get("/api/now").json
    assert now["kitchen"]["zone"] == "Europe/Copenhagen"
    custard = next(b for b in now["batches"] if b["id"] == "custard-7")
    assert (custard["name"], custard["lot"]) == ("Toasted-barley custard", "B-1125")
    (lane,) = custard["stages"]
    assert lane["name"] == "Cook"
    assert lane["shown"] == "78.4 °C"
    assert lane["target_shown"] == "82.2 °C (counts from 81.7 °C up)"
    assert lane["outlook"].startswith("in 4 min, about ")
    (alarm,) = now["alarms"]
    assert {"key", "priority", "phase", "where", "what", "since_shown"} <= alarm.keys()
    probe = next(p for p in now["probes"] if p["id"] == "cabinet-air")
    assert (probe["fresh"], probe["celsius"], probe["shown"]) == (False, None, "—")
    assert {"quality", "age_ms", "value"} <= probe.keys()


def test_readings_come_thinned_with_their_spans(asker, filled):
    _, now = filled
    reply = asker.get(f"/api/readings?probe=stove-pan&since={now - 900_000}&until={now}&points=100").json
    assert 50 <= len(reply["times"]) <= 110
    assert len(reply["times"]) == len(reply["celsius"]) == len(reply["values"]) == len(reply["quality"])
    assert reply["thinned"]
    assert reply["readings"] == 840
    assert reply["spans"][0]["batch"] == "custard-7"
    assert reply["spans"][0]["stage"] == "cook"


def test_times_may_be_written_as_iso(asker):
    reply = asker.get("/api/readings?probe=walkin-air&since=2026-01-01T00:00&until=2100-01-01&points=50")
    assert reply.status == 200
    assert reply.json["readings"] > 1000


@pytest.mark.parametrize(
    ("query", "status", "words"),
    [
        ("", 400, "Say which probe"),
        ("probe=nobody", 404, "no probe 'nobody'"),
        ("probe=stove-pan&since=noon", 400, "since=noon is not a time"),
        ("probe=stove-pan&since=5&until=5", 400, "before"),
        ("probe=stove-pan&points=lots", 400, "not a whole number"),
        ("probe=stove-pan&points=1", 400, "between 2"),
        ("probe=stove-pan&until=9" + "9" * 40, 400, "is not a time"),
    ],
)
def test_a_query_that_makes_no_sense_is_answered_with_what_is_meant(asker, query, status, words):
    reply = asker.get(f"/api/readings?{query}")
    assert reply.status == status
    assert words in reply.json["sentence"]


def test_batches_and_one_batch(asker):
    listed = asker.get("/api/batches").json["batches"]
    assert [b["id"] for b in listed][:2] == ["custard-7", "sherbet-3"]
    assert len(listed) == 6
    one = asker.get("/api/batch/custard-7").json
    assert one["curves"][0]["readings"] == 840
    assert [band["stage"] for band in one["bands"]] == ["cook"]
    assert {line["kind"] for line in one["lines"]} == {"target", "ceiling"}
    assert any("darker" in entry["sentence"] for entry in one["entries"])
    assert asker.get("/api/batch/none").status == 404


def test_a_night_has_stations_hardening_and_events(asker, filled):
    # The hardening began 13 hours ago, which is in the newest night or in the one before.
    wanted = night_of(Instant(filled[1] - 13 * HOUR), "Europe/Copenhagen")
    night = asker.get(f"/api/nights?night={wanted}").json
    assert {s["id"] for s in night["stations"]} == {"walkin", "fridge", "cabinet"}
    assert len(night["hardening"]) >= 3
    assert night["hardening"][0]["minutes"][0] == 0.0
