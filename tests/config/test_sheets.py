"""Each fault of a batch sheet has its exact words and line; what a safety record would lack is said."""

import pytest

from config.files import KITCHEN, SHEET, changed, kitchen_at, said
from rimekeeper.config.loading import KitchenFileError, load

STAGE = '[[stage]]\nid = "{id}"\nname = "x"\nkind = "age"\nrole = "{role}"\nafter = {after}\n'

ONE_LINE = [
    ('target = "83 C"', "target = 83",
     'line 13, stage "cook", target: 83 is not a temperature; write a number and its scale, such as "82 C" or "180 F"'),
    ('target = "83 C"', 'target = "83 C"\nceiling = { limit = "82 C" }',
     'line 13, stage "cook", target: the target is above the ceiling. Lower the target or raise the ceiling.'),
    ('kind = "age"\nrole = "pan"', 'kind = "age"\nrole = "pan"\ntarget = "1 C"\n[stage.floor]\nlimit = "2 C"',
     'line 21, stage "age", target: the target is below the floor. Raise the target or lower the floor.'),
    ('kind = "age"', 'kind = "agee"',
     'line 19, stage "age", kind: "agee" is not possible here. Did you mean "age"?'),
    ('kind = "age"\nrole = "pan"', 'kind = "age"\nrole = "pann"',
     'line 20, stage "age", role: there is no role "pann". Did you mean "pan"?'),
    ("[[stage]]", '[[role]]\nid = "spare"\nname = "Spare"\n[[stage]]',
     'line 8, role "spare": worth a look: no stage watches this role, yet every batch would need a probe for it. Remove it, or name it in a stage.'),
    ('id = "age"', 'id = "age"\nafter = ["coook"]',
     'line 18, stage "age", after 1: there is no stage "coook". Did you mean "cook"?'),
    ('id = "age"', 'id = "age"\nafter = ["age"]',
     'line 18, stage "age", after 1: a stage can\'t wait for itself. Remove it.'),
    ('id = "cook"', 'id = "cook"\nafter = ["age"]',
     'line 10, stage "cook", after: these stages wait for each other in a circle: cook waits for age waits for cook. Break the circle at one of them.'),
    ('id = "age"', 'id = "age"\nafter = []',
     'line 21, stage "age", role: stage "age" can run beside stage "cook", and both watch role "pan". Give one of them a role (and so a probe) of its own, or put one after the other.'),
    ('id = "age"', 'id = "cook"',
     'line 17, stage "cook", id: another stage has the id "cook" already. Give it another id.'),
    ('kind = "age"\nrole = "pan"', 'kind = "age"\nrole = "pan"\nhold = "15 s"',
     'line 21, stage "age", hold: a hold needs a target to be held at. Add target = "83 C" or what fits.'),
    ('kind = "age"\nrole = "pan"', 'kind = "age"\nrole = "pan"\nadvance = "time"',
     'line 21, stage "age", advance: advance = "time" needs the time it lasts. Add lasts = "4 h".'),
    ('kind = "age"\nrole = "pan"', 'kind = "age"\nrole = "pan"\nadvance = "target"',
     'line 21, stage "age", advance: advance = "target" needs a target. Add a target, or write advance = "hand".'),
    ('kind = "age"\nrole = "pan"', 'kind = "age"\nrole = "pan"\nreach_within = "1 h"',
     'line 21, stage "age", reach_within: there is no target to be reached. Add a target.'),
    ('kind = "age"\nrole = "pan"', 'kind = "age"\nrole = "pan"\nlasts = "1 h"',
     'line 21, stage "age", lasts: worth a look: lasts has no effect with advance = "hand". Write advance = "time", or remove lasts.'),
    ('hold = "15 s"', 'hold = "15 s"\nstay_at_most = "10 s"',
     'line 15, stage "cook", stay_at_most: the stage may not stay long enough for hold. Make stay_at_most longer or hold shorter.'),
    ('hold = "15 s"', 'hold = "15 s"\nlasts = "-3 h"',
     'line 15, stage "cook", lasts: "-3 h" is negative; a length of time is zero or more'),
    ('hold = "15 s"\n', "",
     'line 8, stage "cook": worth a look: this cook has no hold, so that a hold is not proven. Add the target and hold that your local food code asks for.'),
    ('hold = "15 s"', 'hold = "15 s"\napproach = "within"',
     'line 15, stage "cook", approach: worth a look: a cook with approach = "within" counts as reached below its target. Leave approach out, or write "rising".'),
    ('kind = "age"\nrole = "pan"', 'kind = "chill"\nrole = "pan"\ntarget = "5 C"',
     'line 16, stage "age": worth a look: nothing watches how long this cooling takes. Add the reach_within that your local food code asks for.'),
    ('hold = "15 s"', 'hold = "15 s"\nheat = "frozen-desert-mix-us"',
     'line 15, stage "cook", heat: there is no heat table "frozen-desert-mix-us". Did you mean "frozen-dessert-mix-us"?'),
    ('hold = "15 s"', 'hold = "15 s"\nheat = 5',
     'line 15, stage "cook", heat: 5 is neither the name of a table nor a table'),
    ('hold = "15 s"', 'hold = "15 s"\nheat = { title = "Ours", source = "our plan", rows = [{ at = "80 C", hold = "15 s" }, { at = "70 C", hold = "10 min" }] }',
     'line 15, stage "cook", heat: its rows are out of order: each must be hotter than the one before and take less time. Sort them by temperature and look at the times.'),
    ('kind = "age"\nrole = "pan"', 'kind = "age"\nrole = "pan"\ncooling = "two-stage-uk"',
     'line 21, stage "age", cooling: there is no cooling rule "two-stage-uk". Did you mean "two-stage-us"?'),
    ('kind = "age"\nrole = "pan"', 'kind = "age"\nrole = "pan"\ncooling = { title = "Ours", source = "our plan", start = "57 C", checkpoints = [{ at = "60 C", within = "2 h" }] }',
     'line 21, stage "age", cooling: its checkpoints are out of order: each must be colder and later than the one before, all below start. Sort them by time and look at the temperatures.'),
    ("[[role]]", "[mix]\nwater = 60\nsucrose = 20\n[[role]]",
     "line 4, mix: the parts add up to 80.0 %, not to 100 %; put what is missing into other_solids or correct a part"),
    ("[[role]]", "[mix]\nwater = 0\nsucrose = 100\n[[role]]",
     "line 4, mix: there is no water in it; nothing would freeze. Give water in percent"),
    ("[[role]]", "[mix]\nwater = 60\nsugar = 40\n[[role]]",
     'line 6, mix, sugar: there is no key "sugar" here. Keys here: water, fat, msnf, whey_solids, sucrose, monosaccharides, syrup_solids, syrup_de, other_solids, lactose, alcohol, salt, polyols, polyol_molar_mass, acids, yolk_solids, fruit_solids, ingredient.'),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "message"), ONE_LINE, ids=[str(n) for n in range(len(ONE_LINE))])
def test_one_fault_one_message(tmp_path, old, new, message):
    assert said(tmp_path, custard=changed(SHEET, old, new)) == [f"sheets/custard.toml, {message}"]


def test_a_mix_may_be_half_a_percent_off_and_not_more(tmp_path):
    mix = "[mix]\nwater = 60\nsucrose = {}\n[[role]]"
    assert said(tmp_path, custard=changed(SHEET, "[[role]]", mix.format(40.5))) == []
    assert len(said(tmp_path, custard=changed(SHEET, "[[role]]", mix.format(40.6)))) == 1
    assert len(said(tmp_path, custard=changed(SHEET, "[[role]]", mix.format("nan")))) == 1


def test_an_empty_sheet_says_what_it_lacks(tmp_path):
    assert said(tmp_path, custard='[sheet]\nname = "x"\n') == [
        "sheets/custard.toml: there is no [[role]]. Add one with id and name: what a probe is for.",
        "sheets/custard.toml: there is no [[stage]]. Add one with id and name: what is done first.",
    ]


def test_two_sheets_with_one_id(tmp_path):
    twin = changed(SHEET, "[sheet]", '[sheet]\nid = "custard"')
    assert said(tmp_path, custard=SHEET, other=twin) == [
        (
            'sheets/other.toml, line 2, sheet, id: the sheet in custard.toml has the id "custard" already. '
            "Give it another id."
        )
    ]


def test_a_bad_sheet_is_left_out_and_the_kitchen_runs(tmp_path):
    path = kitchen_at(tmp_path, good=SHEET, bad=changed(SHEET, '"83 C"', "83"))
    loaded = load(path)
    assert list(loaded.plan.sheets) == ["good"]
    assert [p.file for p in loaded.problems] == ["sheets/bad.toml"]
    assert loaded.sheet_paths == {"good": tmp_path / "sheets" / "good.toml"}
    with pytest.raises(KitchenFileError) as refused:
        load(path, leave_out_bad_sheets=False)
    assert [p.line for p in refused.value.problems] == [13]


def test_a_bad_kitchen_is_refused_with_all_its_problems(tmp_path):
    kitchen = changed(changed(KITCHEN, '"Europe/Copenhagen"', "5"), 'probe = "walkin"', 'probe = "x"')
    with pytest.raises(KitchenFileError) as refused:
        load(kitchen_at(tmp_path, kitchen))
    assert [p.key for p in refused.value.problems] == ["kitchen.zone", "station.walkin.probe"]
    assert str(refused.value).count("\n") == 1


def test_a_split_and_its_recombination(tmp_path):
    sheet = (
        '[sheet]\nname = "x"\n[[role]]\nid = "a"\nname = "a"\n[[role]]\nid = "b"\nname = "b"\n'
        + STAGE.format(id="one", role="a", after="[]")
        + STAGE.format(id="left", role="a", after='["one"]')
        + STAGE.format(id="right", role="b", after='["one"]')
        + STAGE.format(id="both", role="a", after='["left", "right"]')
    )
    plan = load(kitchen_at(tmp_path, custard=sheet)).plan.sheets["custard"]
    assert [s.id for s in plan.followers("one")] == ["left", "right"]
    assert plan.stage("both").after == ("left", "right")
    clash = sheet.replace('role = "b"', 'role = "a"')
    assert any("can run beside" in line for line in said(tmp_path, custard=clash))


def test_a_file_name_that_can_be_no_id(tmp_path):
    path = kitchen_at(tmp_path)
    (tmp_path / "sheets" / "custard.toml").rename(tmp_path / "sheets" / "my custard.toml")
    (problem,) = load(path).problems
    assert str(problem) == (
        "sheets/my custard.toml, line 1, sheet: the file's name \"my custard\" can't be an id. "
        'Add id = "..." or rename the file with plain letters, digits and "-".'
    )


def test_without_sheets_stations_are_watched_all_the_same(tmp_path):
    path = kitchen_at(tmp_path)
    (tmp_path / "sheets" / "custard.toml").unlink()
    loaded = load(path)
    assert (dict(loaded.plan.sheets), [p.severity for p in loaded.problems]) == ({}, ["warning"])
    assert "walkin" in loaded.plan.stations
