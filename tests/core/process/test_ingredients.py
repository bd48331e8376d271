"""The built-in ingredients hang together."""

import pytest

from rimekeeper.core.process.ingredients import INGREDIENTS, ingredient, total_of


@pytest.mark.parametrize("one", INGREDIENTS.values(), ids=lambda one: one.name)
def test_each_adds_up_and_has_a_source(one):
    assert total_of(one.mix) == pytest.approx(100.0, abs=0.05)
    assert min(getattr(one.mix, name) for name in one.mix.__dataclass_fields__) >= 0.0
    assert one.source
    assert one.name == one.name.casefold()


def test_a_name_may_be_capitalised():
    assert ingredient("  Whole Milk ") is INGREDIENTS["whole milk"]
    assert ingredient("unobtainium") is None
