"""How long something takes to freeze by the textbooks, and a drawn mix to harden."""

from __future__ import annotations

from collections.abc import Mapping

from rimekeeper.core.computations.contract import Answer, Computation
from rimekeeper.core.computations.freezing import MIX_INPUTS, mix_of
from rimekeeper.core.errors import OutOfRangeError
from rimekeeper.core.process import hardening
from rimekeeper.core.process.freezing_time import Around, Food, Shape, pham_seconds, plank_seconds
from rimekeeper.core.process.vessels import Tray, Tub, Vessel
from rimekeeper.core.sensing.sensors.contract import Input

_PLANK = "Plank's equation, as in Singh and Heldman, Introduction to Food Engineering"
_PHAM = "Pham 1986, J Food Technol 21:209, form from memory"
_MIXES = (
    f"{_PHAM}, with the heat of the mix taken off along its freezing curve; tubs by the equivalent dimensionality of the "
    "ASHRAE Handbook, from memory"
)
_MIX_VALIDITY = (
    f"smallest side {hardening.THINNEST * 1e3:g} mm to {hardening.THICKEST * 1e2:g} cm; draw to 30 °C, air from -60 °C and "
    "colder than the core; within 25 % either way when the film is known (our choice)"
)
_FILMS = "; ".join(
    f"{speed} {film.likely:g} ({film.least:g} to {film.most:g})" for speed, film in hardening.FILMS.items()
)
_CAUTION = (
    f"what the air does is unsure by more than the formula. Films in W/m2K, from memory and common practice: {_FILMS}. "
    "Frost and crowding make it less. Measure the middle before you call it hard"
)

_SHAPE = Input("directions", "", "in how many directions heat leaves: 1 slab, 2 long cylinder, 3 sphere", 1.0)
_FOOD = (
    Input("size", "m", "thickness or diameter"),
    Input("density", "kg/m3", "density of the food"),
    Input("latent", "kJ/kg", "latent heat of the food, not of its water"),
    Input("conductivity", "W/mK", "conductivity of the frozen food"),
)
_AROUND = (
    Input("air", "°C", "temperature of the air, plates or brine"),
    Input("film", "W/m2K", "heat transfer at the surface"),
    Input("wrapping", "m2K/W", "resistance of what is wrapped around it", 0.0),
)
_DRAWN = (
    *MIX_INPUTS,
    Input("start", "°C", "temperature of the mix at the draw"),
    Input("core", "°C", "temperature that the middle is to reach", -18.0),
    Input("overrun", "%", "air beaten in, as a share of the mix's volume", 30.0),
    *_AROUND,
)


def _shape(given: Mapping[str, float]) -> Shape:
    if given["directions"] not in (1.0, 2.0, 3.0):
        raise OutOfRangeError("directions: give 1 for a slab, 2 for a long cylinder, 3 for a sphere.")
    return Shape(int(given["directions"]))


def _around(given: Mapping[str, float]) -> Around:
    return Around(given["air"], given["film"], given["wrapping"])


def _plank(given: Mapping[str, float]) -> tuple[Answer, ...]:
    food = Food(given["density"], given["latent"], given["conductivity"])
    seconds = plank_seconds(_shape(given), given["size"], food, given["freezing_point"], _around(given))
    return (Answer("time", seconds, "s"),)


def _pham(given: Mapping[str, float]) -> tuple[Answer, ...]:
    food = Food(
        given["density"],
        given["latent"],
        given["conductivity"],
        given["density_frozen"],
        given["heat_unfrozen"],
        given["heat_frozen"],
    )
    seconds, mean = pham_seconds(
        _shape(given), given["size"], food, given["start"], given["core"], _around(given)
    )
    return (Answer("time", seconds, "s"), Answer("mean freezing temperature", mean, "°C"))


def _case(given: Mapping[str, float], vessel: Vessel) -> hardening.Hardening:
    film = given["film"]
    return hardening.Hardening(
        mix_of(given),
        vessel,
        given["start"],
        given["air"],
        hardening.Film(film, film, film),
        given["core"],
        given["overrun"] / 100.0,
        given["wrapping"],
    )


def _hardening(given: Mapping[str, float], vessel: Vessel) -> tuple[Answer, ...]:
    found = hardening.hardening_time(_case(given, vessel))
    return (
        Answer("time", found.likely, "s"),
        Answer("at least", found.least, "s"),
        Answer("at most", found.most, "s"),
        Answer("heat given off", found.heat, "kJ/kg"),
    )


def _thickness(given: Mapping[str, float]) -> tuple[Answer, ...]:
    advice = hardening.largest_for(_case(given, Tray(0.04)), given["deadline"])
    if advice.surely is None or advice.likely is None:
        raise OutOfRangeError(
            f"deadline: not even a tray of {hardening.THINNEST * 1e3:g} mm is sure to be hard in {given['deadline']:g} s. "
            "Allow more time, or colder or faster air."
        )
    return (
        Answer("thickness that is hard by then surely", advice.surely.smallest, "m"),
        Answer("thickness that is hard by then likely", advice.likely.smallest, "m"),
    )


OF_HARDENING: tuple[Computation, ...] = (
    Computation(
        "plank-time",
        "time to freeze by Plank's equation",
        (_SHAPE, *_FOOD, Input("freezing_point", "°C", "where it freezes"), *_AROUND),
        "s",
        "latent heat alone, so it comes out short; surroundings colder than the freezing point",
        _PLANK,
        _plank,
    ),
    Computation(
        "pham-time",
        "time to freeze by Pham's correction of Plank's equation, sensible heat included",
        (
            _SHAPE,
            *_FOOD,
            Input("start", "°C", "temperature at the beginning"),
            Input("core", "°C", "temperature that the middle is to reach", -18.0),
            Input("density_frozen", "kg/m3", "density of the frozen food", 950.0),
            Input("heat_unfrozen", "kJ/kgK", "specific heat before", 3.6),
            Input("heat_frozen", "kJ/kgK", "specific heat after", 1.8),
            *_AROUND,
        ),
        "s, and the mean freezing temperature",
        "foods that begin to freeze near -1 °C and go in unfrozen; not for a mix from the churn",
        _PHAM,
        _pham,
    ),
    Computation(
        "hardening-time",
        "time for a tray of drawn mix to harden, both faces in the air",
        (*_DRAWN, Input("thickness", "m", "thickness of the mix")),
        "s",
        _MIX_VALIDITY,
        _MIXES,
        lambda given: _hardening(given, Tray(given["thickness"])),
        _CAUTION,
    ),
    Computation(
        "tub-hardening-time",
        "time for a round tub of drawn mix to harden, all around in the air",
        (
            *_DRAWN,
            Input("diameter", "m", "diameter of the tub"),
            Input("height", "m", "height of the mix in it"),
        ),
        "s",
        _MIX_VALIDITY,
        _MIXES,
        lambda given: _hardening(given, Tub(given["diameter"], given["height"])),
        _CAUTION,
    ),
    Computation(
        "thickness-for-deadline",
        "thickest tray of drawn mix that is hard by a deadline",
        (*_DRAWN, Input("deadline", "s", "time from the draw to the deadline")),
        "m",
        _MIX_VALIDITY,
        _MIXES,
        _thickness,
        _CAUTION,
    ),
)
