"""Microseconds to convert one number, for each kind of sensor, between -30 °C and 120 °C. Run from the repository:

python tests/bench/bench_sensors.py
"""

from __future__ import annotations

import sys
import timeit
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from core.sensing.test_sensors_any_number import BUILT

COLDEST, HOTTEST, COUNT, REPEATS = -30.0, 120.0, 5_000, 9


def main() -> None:
    """Print the best of some runs for each kind."""
    temperatures = [COLDEST + (HOTTEST - COLDEST) * n / COUNT for n in range(COUNT)]
    for name, sensor in BUILT.items():
        signals = [sensor.from_celsius(celsius) for celsius in temperatures]
        convert = sensor.to_celsius
        best = min(timeit.repeat(lambda c=convert, s=signals: [c(v) for v in s], number=1, repeat=REPEATS))
        print(f"{name:16} {best / COUNT * 1e6:6.2f} µs")


if __name__ == "__main__":
    main()
