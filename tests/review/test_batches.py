from __future__ import annotations

from dataclasses import replace

import pytest

from rimekeeper.core.model import BatchId, Instant
from rimekeeper.keeping.reader import Reader
from rimekeeper.review.batches import batch_list, batch_page
from web.slipway import HOUR, MINUTE, fill, glance

NOW = 1_764_072_000_000


@pytest.fixture(scope="module")
def reader(tmp_path_factory):
    return Reader(fill(tmp_path_factory.mktemp("batches"), NOW))


def test_the_facts_of_a_past_stage_come_from_its_stored_readings(reader):
    past = batch_page(glance(NOW), reader, BatchId("custard-6"), Instant(NOW))
    facts = {one["id"]: one for one in past["facts"]}
    # The filled curve is -31 + 25.5 exp(-(m - 25)/95): it enters the band, at -17.5, at minute 85.4.
    assert facts["harden"]["reached_at"] - facts["harden"]["began"] == 86 * MINUTE
    assert facts["harden"]["verdict"] == "passed"
    assert facts["harden"]["readings"] == 480
    assert facts["cook"]["verdict"] == "not proven"
    assert "there are no readings" in facts["cook"]["reasons"]


def test_a_batch_under_way_has_its_curve_bands_and_lines(reader):
    page = batch_page(glance(NOW), reader, BatchId("custard-7"), Instant(NOW))
    assert page["facts"][0]["verdict"] == "under way"
    assert page["facts"][0]["readings"] > 800
    assert [one["verdict"] for one in page["facts"][1:]] == ["not begun"] * 4
    assert [band["stage_name"] for band in page["bands"]] == ["Cook"]
    assert page["curves"][0]["values"][0] == pytest.approx(18.2)


def test_a_batch_whose_sheet_is_gone_can_still_be_read(reader):
    bare = glance(NOW)
    page = batch_page(
        replace(bare, plan=replace(bare.plan, sheets={})), reader, BatchId("custard-6"), Instant(NOW)
    )
    assert page["name"] == "barley-custard"
    assert {one["verdict"] for one in page["facts"]} == {"not proven"}


def test_the_list_has_running_batches_first_then_the_newest(reader):
    listed = batch_list(glance(NOW), reader, Instant(NOW))
    assert [one["id"] for one in listed] == [
        "custard-7",
        "sherbet-3",
        "custard-6",
        "custard-5",
        "custard-4",
        "custard-3",
    ]
    assert listed[2]["took_shown"] == "9 h"
    assert listed[2]["ended"] == NOW - 13 * HOUR + 8 * HOUR
    assert batch_page(glance(NOW), reader, BatchId("none"), Instant(NOW)) is None
