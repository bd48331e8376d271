"""Conversions of temperature scales that regulations and the trade print side by side."""

import pytest

from rimekeeper.core.model import Scale


@pytest.mark.parametrize(
    ("fahrenheit", "celsius"),
    [
        (21.0, -6.1111),
        (32.0, 0.0),
        (41.0, 5.0),
        (70.0, 21.1111),
        (135.0, 57.2222),
        (185.0, 85.0),
        (212.0, 100.0),
        (-40.0, -40.0),
    ],
)
def test_fahrenheit_by_its_definition(fahrenheit, celsius):
    """Definition t/°F = 1.8 t/°C + 32 (NIST SP 811, appendix B); the pairs are those of the US Food Code's limits."""
    assert Scale.FAHRENHEIT.to_celsius(fahrenheit) == pytest.approx(celsius, abs=1e-4)
    assert Scale.FAHRENHEIT.from_celsius(celsius) == pytest.approx(fahrenheit, abs=2e-4)


@pytest.mark.parametrize(
    ("kelvin", "celsius"), [(0.0, -273.15), (273.15, 0.0), (273.16, 0.01), (373.15, 100.0)]
)
def test_kelvin_by_its_definition(kelvin, celsius):
    """Definition t/°C = T/K - 273.15 (BIPM, SI Brochure); the triple point of water is 273.16 K."""
    assert Scale.KELVIN.to_celsius(kelvin) == pytest.approx(celsius, abs=1e-9)
    assert Scale.KELVIN.from_celsius(celsius) == pytest.approx(kelvin, abs=1e-9)
