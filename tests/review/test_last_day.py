"""The last day of a probe: no reading that is in the store is left out, whoever looked last and when."""

from __future__ import annotations

from rimekeeper.core.commit import Commit
from rimekeeper.core.model import MINUTE, Instant, ProbeId, Scale
from rimekeeper.keeping.reader import Reader
from rimekeeper.keeping.store import Store
from rimekeeper.review.last_day import LastDay
from rimekeeper.review.wording import Wording
from support.parts import reading

PAN = ProbeId("pan")
EIGHT = 1_795_593_600_000  # 2026-11-25 08:00 UTC
UTC = Wording(Scale.CELSIUS, "UTC")


def at(minutes):
    return Instant(EIGHT + round(minutes * MINUTE))


def test_a_quarter_that_was_unfinished_at_the_last_look_is_asked_for_again(tmp_path):
    with Store(tmp_path) as store:
        day = LastDay(Reader(store.database))

        def watch(begins, ends):
            store.commit(
                Commit(
                    readings=tuple(reading("pan", at(m / 60), 4.0) for m in range(begins * 60, ends * 60, 10))
                )
            )

        watch(0, 2)
        day.of(PAN, at(2), UTC)
        watch(2, 57)
        for looked in (57, 58):
            halves = {one["at_shown"]: one["readings"] for one in day.of(PAN, at(looked), UTC)["halves"]}
            assert halves["08:00 to 08:30"] == 180
        assert day.of(PAN, at(58), UTC)["words"].startswith("2 of 48 half hours with good readings only")
