"""Hardening and storage by name: the handbooks' figures, the technician's units, and each mistake in a sentence."""

from __future__ import annotations

import pytest

from rimekeeper.config.declared_inputs import quantity
from rimekeeper.core.computations import COMPUTATIONS
from rimekeeper.core.errors import OutOfRangeError
from rimekeeper.core.sensing.sensors.contract import Input

SPHERE = {
    "directions": "3",
    "size": "7 cm",
    "density": "1000 kg/m3",
    "conductivity": "1.2 W/mK",
    "air": "-40 C",
}
DRAWN = {"water": "60", "msnf": "10", "whey_solids": "2", "sucrose": "12", "syrup_solids": "4", "start": "-5.5 C",
         "air": "-30 C", "film": "15 W/m2K"}  # fmt: skip


def run(name, **written):
    chosen = COMPUTATIONS[name]
    by_name = {one.name: one for one in chosen.inputs}
    given = {key: quantity(by_name[key], text, bare=True) for key, text in written.items()}
    defaults = {one.name: one.default for one in chosen.inputs if one.default is not None}
    return {answer.name: answer.value for answer in chosen.run(defaults | given)}


@pytest.mark.parametrize(
    ("name", "written", "answers", "within"),
    [
        # Singh and Heldman's sphere; Earle's wrapped slab; see tests/published/test_published_hardening.py.
        ("plank-time", SPHERE | {"latent": "250 kJ/kg", "film": "50", "freezing_point": "-1.25 C"},
         {"time": 2603.0}, 1.0),
        ("plank-time", {"size": "100 mm", "density": "1.09 g/ml", "latent": "256000 J/kg", "conductivity": "1.6",
                        "freezing_point": "-2 C", "air": "-34 C", "film": "600 W/m²K", "wrapping": "0.0166667 m2K/W"},
         {"time": 14806.0}, 2.0),
        ("pham-time", SPHERE | {"latent": "249.9", "start": "50 F", "film": "50", "heat_unfrozen": "3600 J/kgK"},
         {"time": 3743.0, "mean freezing temperature": -7.134}, 2.0),
        # USP <1079.2>, and areas by hand; see tests/published/test_published_storage.py.
        ("mean-kinetic-temperature", {"t1": "-18 C", "d1": "20 h", "t2": "-18 C", "d2": "2 h", "t3": "-12 C", "d3": "120 min"},
         {"temperature": -17.250}, 0.005),
        ("mean-kinetic-temperature", {"t1": "25 C"}, {"temperature": 25.0}, 1e-9),
        ("degree-minutes", {"begins": "-20 C", "ends": "-16 C", "time": "10 min", "limit": "-18 C"},
         {"degree-minutes": 5.0, "time above": 300.0}, 1e-9),
        ("buffered-temperature", {"product": "-18 C", "begins": "-6 C", "ends": "-6 C", "time": "30 min", "time_constant": "3 h"},
         {"temperature": -18.0 + 1.842}, 1e-3),
        ("exposure-index", {"begins": "-18 C", "ends": "-18 C", "time": "1 d"},
         {"least": 86_400.0, "likely": 86_400.0, "most": 86_400.0}, 1e-6),
    ],
)  # fmt: skip
def test_an_answer_is_the_handbooks(name, written, answers, within):
    found = run(name, **written)
    assert {key: found[key] for key in answers} == pytest.approx(answers, abs=within)


def test_the_thickness_for_a_deadline_is_hard_by_then():
    advice = run("thickness-for-deadline", **DRAWN, deadline="2 h")
    surely, likely = (
        advice["thickness that is hard by then surely"],
        advice["thickness that is hard by then likely"],
    )
    assert run("hardening-time", **DRAWN, thickness=f"{surely} m")["at most"] == pytest.approx(
        7200.0, rel=1e-6
    )
    assert run("hardening-time", **DRAWN, thickness=f"{likely} m")["time"] == pytest.approx(7200.0, rel=1e-6)
    assert 0.02 < surely < likely < 0.08


def test_a_tub_hardens_sooner_than_a_tray_as_thick():
    tub = run("tub-hardening-time", **DRAWN, diameter="16 cm", height="80 mm")["time"]
    assert tub < run("hardening-time", **DRAWN, thickness="80 mm")["time"]


@pytest.mark.parametrize(
    ("name", "written", "says"),
    [
        ("plank-time", SPHERE | {"directions": "4", "latent": "250", "film": "50", "freezing_point": "-1 C"},
         "directions: give 1 for a slab, 2 for a long cylinder, 3 for a sphere."),
        ("plank-time", SPHERE | {"latent": "250", "film": "50", "freezing_point": "-45 C"},
         ("The surroundings at -40 °C must be colder than the freezing point, -45 °C; else it never freezes.")),
        ("plank-time", SPHERE | {"latent": "250", "film": "0", "freezing_point": "-1 C"},
         "film: 0 W/m2K can't be: give 0.1 W/m2K to 100000 W/m2K."),
        ("pham-time", SPHERE | {"latent": "250", "start": "-10 C", "film": "50"},
         ("Pham's equation is for food that goes in warmer than its mean freezing temperature, here -7.1 °C, and comes "
          "out colder. It goes in at -10 °C and comes out at -18 °C.")),
        ("thickness-for-deadline", DRAWN | {"deadline": "1 min"},
         ("deadline: not even a tray of 5 mm is sure to be hard in 60 s. Allow more time, or colder or faster air.")),
        ("degree-minutes", {"begins": "-200 C", "ends": "0 C", "time": "1 s", "limit": "0 C"},
         "A store's temperatures are from -100 °C to 100 °C."),
        ("buffered-temperature", {"product": "0 C", "begins": "0 C", "ends": "0 C", "time": "1 s", "time_constant": "0 s"},
         "A product's time constant must be from 1 s to 30 days, not 0 s."),
    ],
)  # fmt: skip
def test_what_can_not_be_is_said(name, written, says):
    with pytest.raises(OutOfRangeError) as refused:
        run(name, **written)
    assert str(refused.value) == says


@pytest.mark.parametrize(
    ("unit", "written"),
    [("kg/m3", "1080 kg"), ("kJ/kg", "250 kJ"), ("W/m2K", "15 W"), ("m2K/W", "0.1 m2"), ("s", "2 hours")],
)
def test_a_wrong_unit_says_how_one_is_written(unit, written):
    with pytest.raises(ValueError, match="write it with its unit, such as"):
        quantity(Input("x", unit, "anything"), written, bare=True)
