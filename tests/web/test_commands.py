from __future__ import annotations

import pytest

from rimekeeper.core.errors import EdgeError
from rimekeeper.core.messages import Acknowledge, AdvanceStage, RetimeStage, StartBatch
from rimekeeper.core.model import Actor
from rimekeeper.web.commands import LONGEST_BODY, MalformedError, parse
from web.conftest import TOKEN


def test_a_page_gives_a_command_in_somebody_s_name(asker, slipway):
    reply = asker.post({"command": "advance", "batch": "custard-7", "stage": "cook", "who": "Ada"})
    assert reply.status == 200
    assert reply.json == {"accepted": True, "sentence": "The next stage has begun.", "batch": "custard-7"}
    assert slipway.given == [(AdvanceStage("custard-7", "cook"), Actor("Ada", "web page"))]


def test_without_a_name_it_is_the_kitchen_screen(asker, slipway):
    asker.post({"command": "acknowledge", "alarm": "station/walkin/ceiling"})
    assert slipway.given == [(Acknowledge("station/walkin/ceiling"), Actor("kitchen screen", "web page"))]


def test_a_page_can_not_claim_to_be_elsewhere_but_the_command_line_can(asker, slipway):
    body = {"command": "acknowledge", "who": "Bo", "where": "command line"}
    asker.post(body)
    asker.post(body, X_Rimekeeper_Token=TOKEN)
    assert [actor.where for _, actor in slipway.given] == ["web page", "command line"]


def test_a_refusal_is_409_with_its_sentence(asker, slipway):
    slipway.refuse = "Stage chill has not begun. Advance cook first."
    reply = asker.post({"command": "advance", "batch": "custard-7"})
    assert reply.status == 409
    assert reply.json["sentence"] == "Stage chill has not begun. Advance cook first."


def test_a_stuck_pipeline_is_503(asker, slipway, monkeypatch):
    def stuck(command, actor, timeout=5.0):
        raise EdgeError("The kitchen did not answer within 5 s.")

    monkeypatch.setattr(slipway, "command", stuck)
    reply = asker.post({"command": "hold", "batch": "custard-7"})
    assert reply.status == 503
    assert "did not answer" in reply.json["sentence"]


@pytest.mark.parametrize(
    "headers",
    [
        {"Content_Type": "application/json"},
        {"X_Rimekeeper_Token": "guessed"},
        {"X_Rimekeeper_Page": "1", "Origin": "http://elsewhere.example"},
        {"X_Rimekeeper_Page": "1", "Origin": "null"},
        {"X_Rimekeeper_Page": "1", "Sec_Fetch_Site": "cross-site"},
    ],
)
def test_a_foreign_page_can_not_give_commands(asker, slipway, headers):
    reply = asker.post({"command": "acknowledge"}, **headers)
    assert reply.status == 403
    assert slipway.given == []


def test_our_own_origin_may(asker):
    own = f"http://127.0.0.1:{asker.port}"
    assert asker.post({"command": "acknowledge"}, X_Rimekeeper_Page="1", Origin=own).status == 200


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"{",
        b"[]",
        b"\xff\xfe",
        {"command": "explode"},
        {"command": "advance"},
        {"command": "advance", "batch": 7},
        {"command": "advance", "batch": "b", "stages": "x"},
        {"command": "retime", "batch": "b", "stage": "s", "began": "noon", "why": "late"},
        {"command": "retime", "batch": "b", "stage": "s", "began": 1e99, "why": "late"},
        {"command": "note", "batch": "b", "text": "   "},
        {"command": "acknowledge", "note": "x" * 3000},
        {"command": "start", "sheet": "s", "bindings": [["pan", "p"]]},
        b'{"command":"note","batch":"b","text":"' + b"x" * LONGEST_BODY + b'"}',
    ],
)
def test_a_malformed_body_is_400_and_gives_nothing(asker, slipway, body):
    reply = asker.post(body)
    assert reply.status == 400
    assert reply.json["accepted"] is False
    assert slipway.given == []


def test_bodies_become_commands():
    command, actor = parse(
        b'{"command":"start","sheet":"barley","bindings":{"pan":"stove-pan"},"lot":"B-1","who":" Ada\\u0007 "}',
        trusted=False,
    )
    assert command == StartBatch("barley", (("pan", "stove-pan"),), "B-1", "")
    assert actor.who == "Ada"
    command, _ = parse(
        b'{"command":"retime","batch":"b","stage":"s","began":1764072600000,"why":"late tap"}', trusted=False
    )
    assert command == RetimeStage("b", "s", 1764072600000, "late tap")
    with pytest.raises(MalformedError, match=r"batch: Field required"):
        parse(b'{"command":"hold"}', trusted=False)
