"""What a person wrote is what the core gets."""

from pathlib import Path

import pytest

from config.files import KITCHEN, SHEET, changed, kitchen_at
from rimekeeper.config.loading import check, load
from rimekeeper.core.model import ClockTrust, Scale, SheetId, Temperature, TemperatureDifference
from rimekeeper.core.plan import Advance, Approach, Priority, Side, StationKind
from rimekeeper.core.sensing.sensors.platinum import PlatinumSensor
from rimekeeper.core.sensing.sensors.thermistor import SteinhartHartSensor

REPOSITORY = Path(__file__).parents[2]


def test_probes_stations_people(tmp_path):
    kitchen = changed(
        KITCHEN,
        'name = "Pan"\n',
        'name = "Pan"\nunit = "F"\nclock = "probe"\nsilent_after = "90 s"\nhighest = "212 F"\nfastest = "60 K per min"\n',
    )
    kitchen = changed(
        kitchen,
        'limit = "-15 C"\n',
        'limit = "-15 C"\ndeadband = "0.9 degF"\non_delay = "20 min"\noff_delay = "2 min"\npriority = "critical"\naction = "Go."\n',
    )
    plan = load(kitchen_at(tmp_path, kitchen)).plan
    pan = plan.probes["pan"]
    assert (pan.source, pan.channel, pan.scale, pan.clock) == (
        "stove",
        "pan",
        Scale.FAHRENHEIT,
        ClockTrust.PROBE,
    )
    assert (pan.silent_after, pan.max_rate_kelvin_per_second) == (90_000, 1.0)
    assert pan.highest.celsius == pytest.approx(100.0)
    station = plan.stations["walkin"]
    assert station.kind is StationKind.FREEZER
    (limit,) = station.limits
    assert (limit.side, limit.limit, limit.priority) == (Side.CEILING, Temperature(-15.0), Priority.CRITICAL)
    assert (limit.on_delay, limit.off_delay, limit.action) == (1_200_000, 120_000, "Go.")
    assert limit.deadband.kelvin == pytest.approx(0.5)
    assert plan.people["ada"].channels == ("pages",)
    (policy,) = plan.policies
    assert policy.priorities == {Priority.HIGH, Priority.CRITICAL}
    assert (policy.steps[0].people, policy.steps[0].wait, policy.repeat_every) == (("ada",), 300_000, 600_000)
    assert {s.id: s.kind for s in plan.sources.values()} == {"stove": "serial", "house": "mqtt"}


def test_a_sensor_by_its_kind_and_by_a_table(tmp_path):
    bare = load(
        kitchen_at(tmp_path, changed(KITCHEN, 'name = "Pan"\n', 'name = "Pan"\nsensor = "pt1000"\n'))
    ).plan
    # IEC 60751: a Pt1000 has 1385.055 ohm at 100 °C.
    assert bare.probes["pan"].sensor.to_celsius(1385.055) == pytest.approx(100.0, abs=1e-3)
    assert bare.probes["walkin"].sensor is None
    table = '[probe.pan.sensor]\nkind = "steinhart-hart"\na = 8.81886e-4\nb = 2.523843e-4\nc = 1.888931e-7\n'
    plan = load(kitchen_at(tmp_path, changed(KITCHEN, "[probe.walkin]\n", f"{table}[probe.walkin]\n"))).plan
    assert plan.probes["pan"].sensor == SteinhartHartSensor(8.81886e-4, 2.523843e-4, 1.888931e-7)
    table = 'sensor = { kind = "pt100", ice_resistance = "0.1001 kohm", lead = "0.4 ohm" }\n'
    plan = load(kitchen_at(tmp_path, changed(KITCHEN, 'name = "Pan"\n', f'name = "Pan"\n{table}'))).plan
    assert plan.probes["pan"].sensor == PlatinumSensor(pytest.approx(100.1), 0.4)


def test_stages_and_their_defaults(tmp_path):
    sheet = changed(
        SHEET,
        'hold = "15 s"',
        'hold = "15 s"\nband = "0.2 K"\nadvance = "confirm"\n[stage.ceiling]\nlimit = "84.5 C"',
    )
    plan = load(kitchen_at(tmp_path, custard=sheet)).plan.sheets["custard"]
    cook, age = plan.stages
    assert (cook.approach, age.approach) == (Approach.RISING, Approach.WITHIN)
    assert (cook.advance, age.advance) == (Advance.CONFIRM, Advance.HAND)
    assert (cook.hold, cook.band) == (15_000, TemperatureDifference(0.2))
    assert cook.ceiling.limit == Temperature(84.5)
    assert cook.after == ()
    assert age.after == ("cook",)
    assert (age.target, age.lasts, age.heads_up) == (None, None, 60_000)


def test_edges_know_their_name_and_their_files(tmp_path):
    (tmp_path / "secret").write_text("x")
    (tmp_path / "secret").chmod(0o600)
    kitchen = changed(
        KITCHEN, 'host = "127.0.0.1"', 'host = "127.0.0.1"\nuser = "u"\npassword_file = "secret"'
    )
    kitchen = changed(kitchen, 'name = "Slipway Ices"', 'name = "Slipway Ices"\ndata = "store"')
    loaded = load(kitchen_at(tmp_path, kitchen))
    assert loaded.serial["stove"].name == "stove"
    assert loaded.mqtt["house"].name == "house"
    assert loaded.mqtt["house"].password_file == str(tmp_path / "secret")
    assert loaded.data_folder == tmp_path / "store"
    assert loaded.web.link_base() == "http://127.0.0.1:8321"


def test_a_button(tmp_path):
    kitchen = KITCHEN + '[[button]]\nmqtt = "house"\ntopic = "b/1"\ndoes = "advance"\n'
    (button,) = load(kitchen_at(tmp_path, kitchen)).buttons
    assert (button.mqtt, button.plan.topic, button.plan.does) == ("house", "b/1", "advance")


def test_the_example_kitchen_and_sheets_are_in_order():
    assert [str(p) for p in check(REPOSITORY / "config" / "kitchen.example.toml", look_at_ports=False)] == []


def test_the_example_custard_holds_what_the_table_asks():
    """21 CFR 1240.61(c): 180 F (printed 83 C) for 15 s; the band and the ceiling leave room below scrambling."""
    plan = load(REPOSITORY / "config" / "kitchen.example.toml").plan
    cook = plan.sheets["toasted-barley-custard"].stage("cook")
    assert cook.target.celsius - cook.band.kelvin >= Temperature(Scale.FAHRENHEIT.to_celsius(180.0)).celsius
    assert cook.hold >= 15_000
    assert cook.target < cook.ceiling.limit < Temperature(Scale.FAHRENHEIT.to_celsius(185.0))


def test_a_web_address_is_checked(tmp_path):
    kitchen = changed(KITCHEN, "[serial.stove]", '[web]\naddress = "kitchen.local"\n[serial.stove]')
    (problem,) = check(kitchen_at(tmp_path, kitchen))
    assert str(problem) == (
        'kitchen.toml, line 6, web, address: "kitchen.local" is not the address of a page; '
        'write one such as "http://kitchen.local:8321"'
    )


@pytest.mark.parametrize(("kind", "band"), [("cook", 0.0), ("chill", 0.0), ("age", 0.5)])
def test_a_target_met_from_one_side_has_no_band_by_default(tmp_path, kind, band):
    """A cook that lacks half a kelvin of its critical limit has not met it."""
    sheet = '[sheet]\nname = "S"\n[[role]]\nid = "r"\nname = "R"\n[[stage]]\nid = "s"\nname = "S"\n'
    sheet += f'kind = "{kind}"\nrole = "r"\ntarget = "8 C"\n'
    loaded = load(kitchen_at(tmp_path, plain=sheet))
    assert loaded.plan.sheets[SheetId("plain")].stages[0].band.kelvin == band
