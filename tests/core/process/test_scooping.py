"""The words for a served temperature follow the stated bands and own up to their doubt."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.process.mixes import BARLEY_CUSTARD, mixes
from rimekeeper.core.model import Temperature
from rimekeeper.core.plan import MixPlan
from rimekeeper.core.process.freezing import temperature_for
from rimekeeper.core.process.scooping import Scooping, scoop, scooping_of, scooping_range

ORDER = list(Scooping)


@pytest.mark.parametrize(
    ("fraction", "verdict"),
    [
        (0.0, Scooping.RUNS), (0.5499, Scooping.RUNS), (0.55, Scooping.SOFT), (0.6499, Scooping.SOFT),
        # 65 % to 70 % frozen at serving: dairy-science article on freezing curves; the other bands are our choice.
        (0.65, Scooping.SCOOPS), (0.70, Scooping.SCOOPS),
        (0.7001, Scooping.FIRM), (0.7999, Scooping.FIRM), (0.80, Scooping.HARD), (1.0, Scooping.HARD),
    ],
)  # fmt: skip
def test_bands(fraction, verdict):
    assert scooping_of(fraction) is verdict


@given(mixes, st.floats(-39, 10), st.floats(0.1, 10))
def test_colder_is_never_softer(mix, celsius, step):
    warm, cold = scoop(mix, Temperature(celsius)), scoop(mix, Temperature(max(-40.0, celsius - step)))
    assert ORDER.index(warm.verdict) <= ORDER.index(cold.verdict)
    assert ORDER.index(warm.softest) <= ORDER.index(warm.verdict) <= ORDER.index(warm.hardest)
    assert math.isfinite(warm.uncertainty)


def test_near_an_edge_the_other_word_is_said_too():
    edge = scoop(BARLEY_CUSTARD, temperature_for(BARLEY_CUSTARD, 0.651))
    assert (edge.verdict, edge.softest) == (Scooping.SCOOPS, Scooping.SOFT)
    assert edge.words == "scoops well (it may be soft)"
    middle = scoop(MixPlan(water=60.5, fat=14.5, msnf=9.0, sucrose=16.0), Temperature(-30.0))
    assert middle.words == "too hard to scoop; temper it first"


@given(mixes)
def test_between_the_two_temperatures_it_scoops(mix):
    found = scooping_range(mix)
    assert found is not None
    cold, warm = found
    assert cold < warm
    between = Temperature(0.5 * (cold.celsius + warm.celsius))
    assert scoop(mix, between).verdict is Scooping.SCOOPS
