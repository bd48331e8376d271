"""What the files say about doubting readings, and what is wrong with it, in exact words."""

import pytest

from config.files import KITCHEN, SHEET, changed, kitchen_at, said
from rimekeeper.config.loading import load

PAN = 'name = "Pan"'
WRONG = [
    # (what is added to the pan's table, what check says)
    ('stuck_after = "1 min"',
     'kitchen.toml, line 17, probe "pan", stuck_after: a steady product shows the same number for longer than that. Write a length such as "6 h", or "0 s" if it shall never be doubted.'),
    ('beside_within = "1 K"',
     'kitchen.toml, line 17, probe "pan", beside_within: there is no probe beside it. Add beside, or remove this key.'),
    ('beside = "pan"',
     'kitchen.toml, line 17, probe "pan", beside: a probe can\'t be beside itself. Name the other probe in that place.'),
    ('beside = "walkinn"',
     'kitchen.toml, line 17, probe "pan", beside: there is no [probe.walkinn]. Did you mean "walkin"?'),
    ('beside = "walkin"\nbeside_within = "0 K"',
     'kitchen.toml, line 18, probe "pan", beside_within: two probes never agree to the last digit. Write a difference such as "1 K".'),
    ('beside = "walkin"\nbeside_within = "1 C"',
     'kitchen.toml, line 18, probe "pan", beside_within: "1 C" is not a temperature difference; write a number of kelvin or degrees of difference, such as "0.5 K" or "1 degF"'),
    ('one_wire = true\nsensor = "pt100"',
     'kitchen.toml, line 17, probe "pan", one_wire: one_wire is for one-wire digital thermometers, and its sensor is "pt100". Remove one of the two.'),
    ("fault_codes = [-999.9, nan]",
     'kitchen.toml, line 17, probe "pan", fault_codes 2: this is no number that an instrument could send. Remove it; what is not a number is never believed anyway.'),
]  # fmt: skip


@pytest.mark.parametrize(("added", "words"), WRONG)
def test_each_fault_has_its_words_and_its_line(tmp_path, added, words):
    kitchen = changed(KITCHEN, PAN, f"{PAN}\n{added}")
    assert words in said(tmp_path, kitchen)


def test_the_room_is_a_probe(tmp_path):
    kitchen = changed(KITCHEN, 'name = "Slipway Ices"', 'name = "Slipway Ices"\nroom = "pann"')
    assert 'kitchen.toml, line 3, kitchen, room: there is no [probe.pann]. Did you mean "pan"?' in said(
        tmp_path, kitchen
    )


def test_probes_stand_in_pairs(tmp_path):
    third = '[probe.third]\nname = "x"\nsource = "house"\nbeside = "walkin"\n'
    kitchen = changed(KITCHEN, PAN, f'{PAN}\nbeside = "walkin"')
    kitchen = changed(kitchen, "[probe.walkin]", f"{third}[probe.walkin]")
    assert (
        'kitchen.toml, line 23, probe "third", beside: probe "walkin" is beside "pan" already. '
        "Probes stand in pairs; leave one of the two out." in said(tmp_path, kitchen)
    )


def test_what_is_written_is_what_the_core_gets(tmp_path):
    added = 'beside = "walkin"\nbeside_within = "1.8 degF"\nstuck_after = "0 s"\none_wire = true\nfault_codes = [-999.9, 850]'
    kitchen = changed(KITCHEN, PAN, f"{PAN}\n{added}")
    kitchen = changed(kitchen, 'name = "Slipway Ices"', 'name = "Slipway Ices"\nroom = "walkin"')
    plan = load(kitchen_at(tmp_path, kitchen)).plan
    pan, walkin = plan.probes["pan"], plan.probes["walkin"]
    assert (pan.beside, walkin.beside) == ("walkin", "pan")
    assert pan.beside_within.kelvin == pytest.approx(1.0)
    assert walkin.beside_within == pan.beside_within
    assert (pan.stuck_after, walkin.stuck_after) == (0, 6 * 3_600_000)
    assert (pan.one_wire, pan.fault_codes) == (True, (-999.9, 850.0))
    assert (pan.room, walkin.room) == ("walkin", None)


def test_a_one_wire_sensor_needs_no_further_word(tmp_path):
    plan = load(kitchen_at(tmp_path, changed(KITCHEN, PAN, f'{PAN}\nsensor = "one-wire"'))).plan
    assert plan.probes["pan"].one_wire
    assert not plan.probes["walkin"].one_wire


def test_a_role_says_how_fast_its_product_is(tmp_path):
    sheet = changed(SHEET, '[[role]]\nid = "pan"\n', '[[role]]\nid = "pan"\nfastest = "30 K per min"\n')
    plan = load(kitchen_at(tmp_path, custard=sheet)).plan
    (role,) = next(iter(plan.sheets.values())).roles
    assert role.fastest == pytest.approx(0.5)
    sheet = changed(SHEET, '[[role]]\nid = "pan"\n', '[[role]]\nid = "pan"\nfastest = "30 K"\n')
    (problem,) = said(tmp_path, custard=sheet)
    assert '"30 K" is not a rate of change; write a difference and the time it takes' in problem
