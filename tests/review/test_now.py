from __future__ import annotations

from dataclasses import replace

import pytest

from rimekeeper.core.alarms.slot import AlarmPhase
from rimekeeper.core.model import Health, Instant, Quality, Reason, Scale
from rimekeeper.core.plan import Priority
from rimekeeper.core.state import StagePhase, WatchPhase, WatchSlot
from rimekeeper.review.now import now_view
from rimekeeper.review.sources import sources_view
from web.slipway import MINUTE, glance, plan, probe

NOW = 1_764_072_000_000


def view(**more):
    return now_view(glance(NOW, **more), Instant(NOW))


def with_probe(slot):
    old = glance(NOW).state
    return replace(old, probes={**old.probes, slot.probe: slot})


def station(found, name):
    return next(s for s in found["stations"] if s["id"] == name)


def test_a_view_can_be_made_of_an_empty_kitchen():
    bare = glance(NOW)
    empty = replace(
        bare,
        plan=replace(bare.plan, stations={}, probes={}, sheets={}),
        state=replace(bare.state, probes={}, batches={}, alarms={}),
    )
    found = now_view(empty, Instant(NOW))
    assert found["batches"] == found["stations"] == found["probes"] == found["alarms"] == []


@pytest.mark.parametrize(
    ("slot", "note"),
    [
        (probe("fridge-air", NOW, 3.4, age=60_001), "no fresh reading for 60 s"),
        (probe("fridge-air", NOW, 3.4, quality=Quality.BAD, reason=Reason.SENSOR_CODE), "bad reading: a code that means a sensor fault"),
        (probe("fridge-air", NOW, None), "bad reading"),
        (replace(probe("fridge-air", NOW, 3.4), health=Health.FAILURE, health_why="wire open"), "probe failure: wire open"),
        (replace(probe("fridge-air", NOW, 3.4), last_at=None), "no reading yet"),
    ],
)  # fmt: skip
def test_a_value_that_may_not_be_believed_is_unknown_and_its_station_with_it(slot, note):
    found = station(view(state=with_probe(slot)), "fridge")
    assert (found["fresh"], found["celsius"], found["value"], found["shown"]) == (
        False,
        None,
        None,
        "\N{EM DASH}",
    )
    assert found["note"] == note
    assert found["state_code"] == "unknown"
    assert found["state"] == f"unknown: {note}"


def test_an_uncertain_value_is_shown_but_its_station_is_not_called_fine():
    found = station(
        view(state=with_probe(probe("fridge-air", NOW, 3.4, quality=Quality.UNCERTAIN, reason=Reason.STUCK))),
        "fridge",
    )
    assert found["shown"] == "3.4 °C"
    assert found["state_code"] == "unknown"


def test_stations_are_judged_by_their_watch_and_by_the_value():
    assert station(view(), "fridge")["state"] == "within limits"
    assert station(view(), "walkin")["state"].startswith("above its ceiling of \N{MINUS SIGN}18.0 °C since ")
    over = station(view(state=with_probe(probe("fridge-air", NOW, 5.2))), "fridge")
    assert over["state_code"] == "entering"
    entering = replace(
        glance(NOW).state, watches={"station/fridge/ceiling": WatchSlot("x", WatchPhase.ENTERING)}
    )
    assert station(view(state=entering), "fridge")["state_code"] == "entering"


def test_an_abnormal_station_stays_abnormal_when_its_probe_falls_silent():
    found = station(view(state=with_probe(probe("walkin-air", NOW, -13.0, age=10 * MINUTE))), "walkin")
    assert found["state_code"] == "abnormal"
    assert found["celsius"] is None


def test_no_arrival_is_promised_without_a_fresh_reading():
    found = view(state=with_probe(probe("stove-pan", NOW, 78.4, age=2 * MINUTE)))
    lane = next(b for b in found["batches"] if b["id"] == "custard-7")["stages"][0]
    assert lane["outlook"] == "no arrival time: no fresh reading for 2 min"
    assert lane["expected"] is lane["earliest"] is lane["latest"] is None
    assert lane["last_shown"] == "last 78.4 °C, 2 min ago"


def cooking(**run):
    """The custard's cook lane, with its run changed; the sheet asks for 15 s at 82.2 °C."""
    slot = run.pop("slot", None)
    old = glance(NOW).state if slot is None else with_probe(slot)
    batch = old.batches["custard-7"]
    stages = (replace(batch.stages[0], **run), *batch.stages[1:])
    state = replace(old, batches={**old.batches, batch.batch: replace(batch, stages=stages)})
    return next(b for b in view(state=state)["batches"] if b["id"] == "custard-7")["stages"][0]


def in_band(seconds):
    return {
        "reached_at": Instant(NOW - 11_000),
        "in_band_since": Instant(NOW - 11_000),
        "in_band_last": Instant(NOW - 11_000 + seconds * 1_000),
    }


def test_the_pan_is_not_told_to_leave_the_stove_before_the_hold_is_met():
    lane = cooking(**in_band(11))
    assert (lane["reached"], lane["hold_met"], lane["do_now"]) == (True, False, False)
    assert lane["hold_shown"] == "held 11 s of 15 s: keep it there, 4 s more"
    assert lane["hold_left_ms"] == 4_000
    assert lane["asks_why"] == "Cook was not held at its target for 15 s."
    done = cooking(**in_band(11), hold_met_at=Instant(NOW))
    assert (done["do_now"], done["hold_shown"], done["asks_why"]) == (True, "held for 15 s: done", "")


def test_a_hold_counts_by_readings_and_not_by_the_clock():
    # The last good reading in the band came 3 s after the target: the 8 s since then prove nothing.
    assert cooking(**in_band(3))["hold_shown"] == "held 3 s of 15 s: keep it there, 12 s more"
    # Between whole seconds, what is left is rounded up and what was held is rounded down.
    part = in_band(11) | {"in_band_last": Instant(NOW - 300)}
    assert cooking(**part)["hold_shown"] == "held 10 s of 15 s: keep it there, 5 s more"
    left = cooking(reached_at=Instant(NOW - 11_000))
    assert (left["hold_shown"], left["hold_left_ms"], left["do_now"]) == ("then hold for 15 s", None, False)


def test_nothing_is_to_be_done_now_by_a_value_that_is_not_fresh():
    silent = probe("stove-pan", NOW, 82.4, age=2 * MINUTE)
    lane = cooking(slot=silent, **in_band(5))
    assert not lane["do_now"]
    assert lane["hold_shown"].startswith("how long it was held is not known")
    assert not cooking(slot=silent, **in_band(11), hold_met_at=Instant(NOW - 1))["do_now"]


def test_the_last_stage_says_that_it_ends_the_batch_and_a_side_by_side_one_does_not():
    old = glance(NOW).state
    sherbet = old.batches["sherbet-3"]
    lanes = next(b for b in view()["batches"] if b["id"] == "sherbet-3")["stages"]
    assert [(lane["ends_batch"], lane["advance_label"]) for lane in lanes] == [
        (False, "Finish Chill base"),
        (False, "Finish Freeze portion"),
    ]
    done = [replace(r, phase=StagePhase.DONE) for r in sherbet.stages[:-1]]
    last = replace(sherbet.stages[-1], phase=StagePhase.ACTIVE, began=Instant(NOW))
    state = replace(
        old, batches={**old.batches, "sherbet-3": replace(sherbet, stages=(*done, last), before=None)}
    )
    (lane,) = next(b for b in view(state=state)["batches"] if b["id"] == "sherbet-3")["stages"]
    assert (lane["ends_batch"], lane["advance_label"], lane["asks_why"]) == (True, "Finish the batch", "")


def test_the_newest_batch_comes_first():
    assert [b["id"] for b in view()["batches"]] == ["custard-7", "sherbet-3"]


def test_a_split_is_two_lanes_and_undo_is_in_front_for_a_minute():
    found = next(b for b in view()["batches"] if b["id"] == "sherbet-3")
    assert [(lane["name"], lane["ordinal"], lane["of"]) for lane in found["stages"]] == [
        ("Chill base", 2, 5),
        ("Freeze portion", 3, 5),
    ]
    assert found["can_undo"]
    assert found["undo_until"] == NOW + 20_000


def test_alarms_are_in_the_order_in_which_somebody_should_look():
    base = next(iter(glance(NOW).state.alarms.values()))
    alarms = [
        replace(base, key="a", priority=Priority.CRITICAL, phase=AlarmPhase.ACKNOWLEDGED),
        replace(base, key="b", priority=Priority.LOW),
        replace(base, key="c", priority=Priority.HIGH),
        replace(base, key="d", priority=Priority.HIGH, raised_at=Instant(NOW)),
        replace(base, key="e", priority=Priority.CRITICAL, returned_at=Instant(NOW)),
    ]
    found = view(state=replace(glance(NOW).state, alarms={a.key: a for a in alarms}))
    assert [a["key"] for a in found["alarms"]] == ["d", "c", "b", "e", "a"]


def test_fahrenheit_kitchens_get_both():
    found = view(plan=plan(Scale.FAHRENHEIT))
    lane = next(b for b in found["batches"] if b["id"] == "custard-7")["stages"][0]
    assert lane["celsius"] == 78.4
    assert lane["value"] == pytest.approx(173.12)
    assert lane["shown"] == "173.1 °F"
    assert station(found, "walkin")["limits"][0]["sentence"] == "at most \N{MINUS SIGN}0.4 °F"


def test_an_old_view_says_that_it_is_old():
    found = now_view(glance(NOW), Instant(NOW + 40_000))
    assert not found["pulse"]["current"]
    assert found["pulse"]["trouble"] == "Not live: last word from the kitchen 40 s ago."


def test_sources_show_what_nobody_claims_and_what_could_not_be_read():
    found = sources_view(glance(NOW), Instant(NOW))
    assert [one["channel"] for one in found["unclaimed"]] == ["shelf-9"]
    assert found["unclaimed"][0]["value"] is None
    assert found["rejected"][0]["why"] == "not a number"
    broker = next(s for s in found["sources"] if s["id"] == "broker")
    assert (broker["health"], broker["why"]) == ("failure", "the broker refused the password")
