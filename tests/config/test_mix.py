"""The mix of a sheet: in percent or by ingredients, targets as percent frozen, and each fault with its line."""

import contextlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from config.files import SHEET, changed, kitchen_at, said
from rimekeeper.config.loading import load
from rimekeeper.config.mix import mass, share
from rimekeeper.core.process.freezing import temperature_for, water_frozen

BY_MASS = """\
[[mix.ingredient]]
name = "whole milk"
mass = "520 g"
[[mix.ingredient]]
name = "Heavy cream"
mass = "0.25 kg"
[[mix.ingredient]]
name = "sugar"
mass = "150 g"
[[mix.ingredient]]
name = "barley paste"
mass = "40 g"
composition = { water = 30, other_solids = 70 }
"""
PERCENT = "[mix]\nwater = 60\nfat = 11\nmsnf = 9\nsucrose = 16\nother_solids = 4\n"
CHURN = '[[stage]]\nid = "churn"\nname = "Churn"\nkind = "churn"\nrole = "pan"\ntarget_frozen = "50 %"\n'


def sheet(mix, stage=""):
    return changed(SHEET, "[[role]]", f"{mix}[[role]]") + stage


def plan_of(folder, text):
    return load(kitchen_at(folder, custard=text)).plan.sheets["custard"]


def test_ingredients_become_a_composition(tmp_path):
    """520 g of milk of 88.0 % water and 250 g of cream of 57.7 % (USDA Handbook 8-1), 12 g in the paste: by hand."""
    mix = plan_of(tmp_path, sheet(BY_MASS)).mix
    assert mix.water == pytest.approx(100 * (520 * 0.88 + 250 * 0.577 + 12) / 960)
    assert mix.fat == pytest.approx(100 * (520 * 0.033 + 250 * 0.37) / 960)
    assert mix.sucrose == pytest.approx(100 * 150 / 960)
    assert mix.other_solids == pytest.approx(100 * 28 / 960)


def test_a_target_as_percent_frozen_becomes_a_temperature(tmp_path):
    made = plan_of(tmp_path, sheet(BY_MASS, CHURN + 'advance = "target"\n'))
    churn = made.stage("churn")
    assert churn.target_frozen == 0.5
    assert churn.target == temperature_for(made.mix, 0.5)
    assert water_frozen(made.mix, churn.target) == pytest.approx(0.5)


FAULTS = [
    (BY_MASS.replace("whole milk", "whole mlk"), "",
     'line 5, mix, ingredient "whole mlk", name: there is no built-in ingredient "whole mlk". Did you mean "whole milk"? Or give its own composition = { water = ..., ... }.'),
    (BY_MASS.replace('"520 g"', '"-520 g"'), "",
     'line 6, mix, ingredient "whole milk", mass: "-520 g" is negative; nothing weighs less than nothing'),
    (BY_MASS.replace('"520 g"', "520"), "",
     'line 6, mix, ingredient "whole milk", mass: 520 is not a mass; write a number and its unit, such as "520 g" or "1.2 kg"'),
    (BY_MASS.replace("water = 30", "water = 20"), "",
     'line 16, mix, ingredient "barley paste", composition: the parts add up to 90.0 %, not to 100 %; put what is missing into other_solids or correct a part'),
    (BY_MASS.replace("water = 30", "watr = 30"), "",
     'line 16, mix, ingredient "barley paste", composition, watr: there is no key "watr" here. Did you mean "water"?'),
    ('[[mix.ingredient]]\nname = "sugar"\nmass = "150 g"\n', "",
     "line 4, mix, ingredient: there is no water in these ingredients; nothing would freeze. Add some."),
    ('[[mix.ingredient]]\nname = "water"\nmass = "0 g"\n', "",
     "line 4, mix: its ingredients weigh nothing; give their masses"),
    ('[mix]\nwater = 60\n[[mix.ingredient]]\nname = "water"\nmass = "10 g"\n', "",
     "line 4, mix: water and ingredients are both given; write the composition in percent or list ingredients, not both"),
    ("[mix]\nsucrose = 100\n", "",
     "line 4, mix: there is no water in it; nothing would freeze. Give water in percent"),
    ("[mix]\nwater = 60\nsucrose = -5\nfat = 45\n", "",
     "line 6, mix, sucrose: -5 is out of range; write at least 0"),
    ("[mix]\nwater = 50\nsucrose = 20\nalcohol = 30\n", "",
     "line 4, mix: worth a look: its freezing can't be computed. With 60 g of alcohol per 100 g of water nobody can compute when this mix freezes; the freezing curve is claimed up to 30 g. Take less of it, or leave [mix] out."),
    ("", CHURN, 'line 26, stage "churn", target_frozen: a target as percent frozen needs the mix. Add [mix], or give a target in degrees.'),
    (PERCENT, CHURN.replace('"50 %"', '"110 %"'),
     'line 32, stage "churn", target_frozen: "110 %" can\'t be; write more than "0 %" and less than "100 %"'),
    (PERCENT, CHURN.replace('"50 %"', "50"),
     'line 32, stage "churn", target_frozen: 50 is not a share; write a number of percent, such as "50 %"'),
    (PERCENT, CHURN.replace('"50 %"', '"99 %"'),
     'line 32, stage "churn", target_frozen: To freeze 99% of the water this mix would have to be colder than -40 °C, where the freezing curve is not known. Give a target in degrees.'),
    (PERCENT, CHURN + 'target = "-6 C"\n',
     'line 32, stage "churn", target_frozen: target and target_frozen are both given. Leave one of them out.'),
    (PERCENT, CHURN.replace('"churn"\nrole', '"age"\nrole'),
     'line 32, stage "churn", target_frozen: nothing freezes in a stage of kind "age". Give a target in degrees. It is for temper, combine, churn, harden, store.'),
    (PERCENT, CHURN + '[stage.floor]\nlimit = "-4 C"\n',
     'line 32, stage "churn", target_frozen: the target is below the floor. Raise the target or lower the floor.'),
    (PERCENT.replace("water = 60", "water = 50"), CHURN,
     "line 4, mix: the parts add up to 90.0 %, not to 100 %; put what is missing into other_solids or correct a part"),
]  # fmt: skip


@pytest.mark.parametrize(("mix", "stage", "message"), FAULTS, ids=[str(n) for n in range(len(FAULTS))])
def test_one_fault_one_message(tmp_path, mix, stage, message):
    assert said(tmp_path, custard=sheet(mix, stage)) == [f"sheets/custard.toml, {message}"]


@pytest.mark.parametrize(
    ("text", "grams"),
    [("520 g", 520.0), ("1.2kg", 1200.0), ("8 oz", 226.796185), ("1 lb", 453.59237), ("0 g", 0.0)],
)
def test_masses(text, grams):
    """Ounce and pound: NIST Handbook 44, appendix C."""
    assert mass(text) == pytest.approx(grams, abs=1e-9)


@given(st.text() | st.floats() | st.integers() | st.none() | st.lists(st.integers()))
def test_no_text_gets_through_as_nonsense(written):
    for read, least, most in ((mass, 0.0, 1e7), (share, 0.0, 1.0)):
        with contextlib.suppress(ValueError):
            assert least <= read(written) <= most
