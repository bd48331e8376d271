"""Days of history and the opening, decided by the real engine."""

from collections import Counter
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from rimekeeper.core import engine
from rimekeeper.core.alarms.slot import AlarmSlot
from rimekeeper.core.messages import AlarmMove, Started, Tick
from rimekeeper.core.model import HOUR, MINUTE, Instant, Quality
from rimekeeper.core.state import BatchPhase, BatchSlot, StagePhase
from rimekeeper.keeping.store import Store
from rimekeeper.simulation.history import PAN_AT, SHERBET_AT, TRAYS_AT, history, opening
from rimekeeper.simulation.kitchen_day import ICED_COIL, POWER_CUT, begin_of_day, day_of
from rimekeeper.simulation.workshop import PAN, SHERBET, TRAY_A, TRAY_B, WALK_IN_AIR
from simulation.kitchens import NOW, demo_plan
from support.which_engine import real_engine_steps

pytestmark = pytest.mark.skipif(not real_engine_steps(), reason="the engine does not step yet")


@pytest.fixture(scope="module")
def opened():
    return opening(demo_plan(), NOW)


@pytest.fixture(scope="module")
def days(opened):
    return list(history(demo_plan(), opened.began))


def batches_of(commit):
    found = {slot.batch: slot for slot in commit.batches}
    found.update({s.batch: s for s in commit.changed.values() if isinstance(s, BatchSlot)})
    return found


def test_nothing_in_the_opening_was_refused(opened):
    assert opened.refused == ()


def test_a_daemon_that_goes_on_from_the_opening_finds_no_probe_silent(opened):
    plan, state = demo_plan(), opened.state
    later = Instant(NOW + 4_000)
    after = engine.step(plan, state, [Started(at=later, watched_until=NOW), Tick(later)])
    assert after.state.alarms == {}


def test_the_opening_shows_three_batches_where_they_should_be(opened):
    made = opened
    running = {b.sheet: b for b in made.state.batches.values() if b.running}
    cook = running["toasted-barley-custard"]
    assert [run.stage for run in cook.active] == ["cook"]
    assert [run.stage for run in running["plum-buttermilk-sherbet"].active] == ["chill"]
    trays = [b for b in made.state.batches.values() if b.running and b.sheet == "tray-hardening"]
    assert any(
        dict(b.bindings)["core"] == TRAY_B and [r.stage for r in b.active] == ["harden"] for b in trays
    )
    probes = made.state.probes
    assert probes[PAN].celsius == pytest.approx(PAN_AT, abs=1.6)
    assert probes[SHERBET].celsius == pytest.approx(SHERBET_AT, abs=1.5)
    assert probes[TRAY_B].celsius == pytest.approx(TRAYS_AT, abs=1.7)  # doors, defrosts, stacking
    assert made.state.alarms == {}
    assert made.commit.watched_until == NOW
    assert all(NOW - slot.last_at < 6 * MINUTE for slot in probes.values())


def test_what_the_opening_writes_is_what_a_restart_reads(opened, tmp_path):
    made = opened
    with Store(tmp_path) as store:
        done = store.commit(made.commit)
        left = store.recollect()
    assert done.stored == len(made.commit.readings)
    assert done.duplicates == done.nudged == 0
    again = engine.restore(left.slots)
    assert again.batches == made.state.batches
    assert again.clock == made.state.clock
    assert left.watched_until == NOW


def test_nothing_in_two_weeks_was_refused(days):
    assert [chunk.refused for chunk in days] == [()] * 14


def test_days_follow_each_other_without_overlap_newest_first(opened, days):
    made = opened
    chunks = days
    edge = made.began
    for chunk in chunks:
        taken = [reading.arrived_at for reading in chunk.commit.readings]
        assert max(taken) <= edge
        edge = begin_of_day(datetime.fromisoformat(chunk.label).date(), demo_plan().zone)
        assert min(taken) >= edge - 3_000
        assert chunk.commit.calls == ()
        assert chunk.commit.changed == {}
        assert chunk.commit.from_history


def test_every_id_is_used_once(opened, days):
    made = opened
    chunks = days
    commits = [made.commit, *(chunk.commit for chunk in chunks)]
    ids = [batch for commit in commits for batch in batches_of(commit)]
    assert len(ids) == len(set(ids))
    raised = [m.alarm.alarm_id for c in commits for m in c.alarms if m.move is AlarmMove.RAISED]
    assert len(raised) == len(set(raised))


def test_everything_that_began_in_history_ended_there(days):
    chunks = days
    for chunk in chunks:
        batches = batches_of(chunk.commit)
        assert 2 <= len(batches) <= 3
        for slot in batches.values():
            assert slot.phase is BatchPhase.ENDED, (chunk.label, slot.batch)
            assert {run.phase for run in slot.stages} == {StagePhase.DONE}, (chunk.label, slot.batch)
        moves = Counter(move.move for move in chunk.commit.alarms)
        assert moves[AlarmMove.RAISED] == moves[AlarmMove.CLOSED], chunk.label


def test_custards_were_cooked_and_cooled_as_the_sheet_asks(days):
    chunks = days
    for chunk in chunks:
        (slot,) = [b for b in batches_of(chunk.commit).values() if b.sheet == "toasted-barley-custard"]
        cook, chill = slot.run("cook"), slot.run("chill")
        assert cook.hold_met_at is not None
        assert cook.highest < 84.5
        assert chill.reached_at - chill.began < 90 * MINUTE
        churn = slot.run("churn")
        assert 10 * MINUTE < churn.reached_at - churn.began < 60 * MINUTE


def test_a_hardening_curve_each_night(days):
    # science.md section 8: 6 to 8 h in a room at -30 °C; a bend at the start, no flat plateau
    chunks = days
    hours = []
    for chunk in chunks:
        (slot,) = [b for b in batches_of(chunk.commit).values() if b.sheet == "tray-hardening"]
        harden = slot.run("harden")
        hours.append((harden.reached_at - harden.began) / HOUR)
        curve = [
            r.celsius
            for r in chunk.commit.readings
            if r.probe == TRAY_A and harden.began < r.taken_at < harden.reached_at
        ]
        assert len(curve) > 800
        assert curve[0] > -7.0
        thinned = curve[:: len(curve) // 20]
        assert np.all(np.diff(thinned) < 0.15)
    assert 4.5 < min(hours) < max(hours) < 9.5
    assert np.std(hours) > 0.05


def test_the_bad_nights_and_only_those_raised_alarms(days):
    chunks = days
    for back, chunk in enumerate(chunks, 1):
        raised = [m.alarm for m in chunk.commit.alarms if m.move is AlarmMove.RAISED]
        if back == POWER_CUT:
            assert WALK_IN_AIR in {alarm.probe for alarm in raised}
            acknowledged = [m.alarm for m in chunk.commit.alarms if m.move is AlarmMove.ACKNOWLEDGED]
            assert {alarm.acknowledged_by for alarm in acknowledged} == {"Bo"}
            assert all(isinstance(alarm, AlarmSlot) for alarm in acknowledged)
        elif back == ICED_COIL:
            assert raised
        else:
            assert raised == [], chunk.label


def test_air_swings_with_defrosts_while_tubs_hardly_move(days):
    chunks = days
    readings = chunks[0].commit.readings
    air = np.array([r.celsius for r in readings if r.probe == WALK_IN_AIR])
    tub = np.array([r.celsius for r in readings if r.probe == "walkin-tub"])
    assert air.max() > -15.0
    assert np.median(air) < -19.0
    assert tub.max() < -18.0
    assert {r.quality for r in readings} == {Quality.GOOD}


def test_the_same_start_gives_the_same_night_and_progress_is_told(opened, days):
    made = opened
    chunks = days
    said = []
    (again,) = history(demo_plan(), made.began, days=1, progress=said.append)
    assert said == ["filling in history: day 1 of 1", ""]
    assert again.commit == chunks[0].commit
    other = next(history(demo_plan(), made.began, days=1, entropy=5))
    assert again.commit.readings != other.commit.readings


@pytest.mark.parametrize(
    ("clock", "what"),
    [
        ((2026, 11, 25, 3, 10), "at night"),
        ((2026, 11, 25, 17, 30), "while a usual custard would run"),
        ((2026, 10, 25, 6, 0), "after the clocks were set back"),
        ((2026, 3, 29, 6, 0), "after the clocks were set forward"),
    ],
)
def test_the_opening_works_at_any_hour(clock, what):
    zone = ZoneInfo(demo_plan().zone)
    now = Instant(round(datetime(*clock, tzinfo=zone).timestamp() * 1_000))
    made = opening(demo_plan(), now)
    assert made.refused == (), what
    running = {probe for b in made.state.batches.values() if b.running for _, probe in b.bindings}
    assert {PAN, SHERBET, TRAY_B} <= running
    assert made.state.alarms == {}
    assert now - made.began < 40 * HOUR
    assert day_of(made.began, demo_plan().zone) <= datetime.fromtimestamp(now / 1_000, UTC).date()
