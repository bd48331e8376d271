"""Call-outs word by word. Offsets at the change of 2026-10-25 in Copenhagen are those of the tz database:
03:00 summer time (UTC+2) becomes 02:00 (UTC+1), so 02:00 to 03:00 comes twice."""

from calling.calls import ADDRESS, CALL, FAHRENHEIT, PLAN, call, instant, message
from rimekeeper.calling.wording import length, spoken, write
from rimekeeper.core.messages import CallKind
from rimekeeper.core.plan import Priority

CAUTION = "Check what was in it before you use or sell it; your local food code decides what may be kept."


def test_raised():
    written = message()
    assert written.title == "Walk-in freezer: too warm (high priority)"
    assert written.body == (
        "It reads \u221211.3 °C (limit \u221215.0 °C).\n"
        "Since Wed 25 Nov 03:06, for 20 min by 03:26.\n"
        "Do this: Close the door and look at the compressor.\n"
        f"{CAUTION}\n"
        "\n"
        "Seen it? Say so, and calling stops: http://kitchen.local:8321/alarms/station/walkin/ceiling\n"
        "Slipway Ices, call-out call-17"
    )
    assert written.link == "http://kitchen.local:8321/alarms/station/walkin/ceiling"
    assert written.call == CALL


def test_again_and_nobody_answered_and_returned():
    assert message(kind=CallKind.REPEAT).title == "Again: Walk-in freezer: too warm (high priority)"
    assert (
        message(kind=CallKind.ESCALATED).title == "Nobody answered: Walk-in freezer: too warm (high priority)"
    )
    returned = message(kind=CallKind.RETURNED, celsius=-16.0)
    assert returned.title == "Back to normal: Walk-in freezer (was too warm)"
    assert returned.body == (
        "It reads \u221216.0 °C (limit \u221215.0 °C).\n"
        "It began Wed 25 Nov 03:06 and ended Wed 25 Nov 03:26, after 20 min.\n"
        "What happened meanwhile still has to be checked; your local food code decides what may be kept.\n"
        "\n"
        "See it: http://kitchen.local:8321/alarms/station/walkin/ceiling\n"
        "Slipway Ices, call-out call-17"
    )


def test_fahrenheit_in_new_york():
    body = message(FAHRENHEIT).body
    assert body.startswith("It reads 11.6 °F (limit 5.0 °F).\nSince Tue 24 Nov 21:06, for 20 min by 21:26.\n")


def test_an_unknown_temperature_is_said_to_be_unknown():
    silent = message(
        alarm_key="probe/walkin", what="silent", celsius=None, limit_celsius=None, action="", priority=Priority.MEDIUM
    )  # fmt: skip
    assert silent.title == "Walk-in freezer: silent (medium priority)"
    assert silent.body.startswith(
        "The temperature is not known.\n"
        "Since Wed 25 Nov 03:06, for 20 min by 03:26.\n"
        "Nobody knows the temperature there until it is heard again: measure by hand.\n\n"
    )
    assert message(celsius=None).body.startswith("The temperature is not known (limit \u221215.0 °C).\n")


def test_the_repeated_hour_says_which_of_the_two_it_is():
    first = message(since=instant("2026-10-25T02:30:00+02:00"), at=instant("2026-10-25T02:10:00+01:00"))
    assert "Since Sun 25 Oct 02:30 (UTC+02:00), for 40 min by 02:10 (UTC+01:00).\n" in first.body
    after = message(since=instant("2026-10-25T02:30:00+01:00"), at=instant("2026-10-25T03:10:00+01:00"))
    assert "Since Sun 25 Oct 02:30 (UTC+01:00), for 40 min by 03:10.\n" in after.body


def test_the_hour_that_is_left_out_doesn_t_lengthen_anything():
    spring = message(since=instant("2026-03-29T01:50:00+01:00"), at=instant("2026-03-29T03:10:00+02:00"))
    assert "Since Sun 29 Mar 01:50, for 20 min by 03:10.\n" in spring.body


def test_a_line_break_can_t_end_the_subject_of_a_mail():
    title = message(where="Walk-in\r\nBcc: everybody@slipway.test").title
    assert "\n" not in title
    assert "\r" not in title


def test_keys_are_quoted_in_the_link():
    assert message(alarm_key="batch/P 118/chill?#").link == f"{ADDRESS}/alarms/batch/P%20118/chill%3F%23"
    assert write(call(), PLAN, ADDRESS + "/").link == f"{ADDRESS}/alarms/station/walkin/ceiling"


def test_for_a_speaker_there_is_one_line_without_link_and_id():
    assert spoken(message()) == (
        "Walk-in freezer: too warm (high priority). It reads \u221211.3 °C (limit \u221215.0 °C). "
        "Since Wed 25 Nov 03:06, for 20 min by 03:26. Do this: Close the door and look at the compressor. "
        + CAUTION
    )


def test_zero_has_no_sign_and_lengths_have_two_units():
    assert message(celsius=-0.04).body.startswith("It reads 0.0 °C")
    assert [length(m) for m in (0, 59_999, 60_000, 3_600_000, 4_800_000, 86_400_000, 183_600_000)] == [
        "0 s",
        "59 s",
        "1 min",
        "1 h",
        "1 h 20 min",
        "1 d",
        "2 d 3 h",
    ]


def test_a_clock_set_back_gives_no_negative_length():
    assert "for 0 s by" in message(since=instant("2026-11-25T04:00:00+01:00")).body
