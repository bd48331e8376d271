"""Mixes that the tests of the freezing curve share."""

from hypothesis import strategies as st

from rimekeeper.core.plan import MixPlan

BARLEY_CUSTARD = MixPlan(
    water=58.5, fat=11.0, msnf=8.5, sucrose=15.0, syrup_solids=3.0, yolk_solids=2.5, other_solids=1.5
)
mixes = st.builds(
    MixPlan,
    water=st.floats(50, 75),
    fat=st.floats(0, 18),
    msnf=st.floats(2, 12),
    whey_solids=st.floats(0, 3),
    sucrose=st.floats(8, 20),
    monosaccharides=st.floats(0, 4),
    syrup_solids=st.floats(0, 6),
    other_solids=st.floats(0, 5),
    alcohol=st.floats(0, 3),
    salt=st.floats(0, 0.5),
    polyols=st.floats(0, 4),
    acids=st.floats(0, 1),
    yolk_solids=st.floats(0, 5),
    fruit_solids=st.floats(0, 4),
)
_any = st.floats() | st.floats(0, 100)
wild_mixes = st.builds(
    MixPlan,
    water=_any, fat=_any, msnf=_any, whey_solids=_any, sucrose=_any, monosaccharides=_any, syrup_solids=_any,
    syrup_de=_any, other_solids=_any, lactose=_any, alcohol=_any, salt=_any, polyols=_any,
    polyol_molar_mass=_any | st.just(182.17), acids=_any, yolk_solids=_any, fruit_solids=_any,
) | st.builds(MixPlan, water=st.floats(0, 1e-300) | _any, sucrose=st.floats(0, 1e-300) | _any)  # fmt: skip
