"""Microseconds to convert and correct one reading, singly and in arrays, and to tell its uncertainty.

Run from the repository: python tests/bench/bench_correction.py. Fails above 2 µs a reading on the batch path.
"""

from __future__ import annotations

import sys
import timeit

import numpy as np

from rimekeeper.core.sensing.calibration.correction import corrected, corrected_many, fit
from rimekeeper.core.sensing.calibration.record import Calibration, CalibrationPoint, Method
from rimekeeper.core.sensing.calibration.uncertainty import expanded
from rimekeeper.core.sensing.lag import ahead
from rimekeeper.core.sensing.sensors import SENSORS

COUNT, REPEATS, MOST = 20_000, 9, 2.0


def microseconds(run) -> float:
    return min(timeit.repeat(run, number=1, repeat=REPEATS)) / COUNT * 1e6


def point(reference: float) -> CalibrationPoint:
    return CalibrationPoint(Method.COMPARISON, reference, 0.05, reference + 0.2, 0.02, 60, 0, 60_000)


def calibration(*references: float) -> Calibration:
    points = tuple(map(point, references))
    return Calibration(1, "p", 0, 1, "Ada", points, fit(points, -50.0, 150.0), 0.1, 0.1, (), ())


def main() -> int:
    """Print the best of some runs, for one to four points."""
    celsius = np.linspace(-30.0, 120.0, COUNT)
    temperatures = celsius.tolist()
    sensor = SENSORS["pt100"].build({"ice_resistance": 100.0, "lead": 0.0})
    resistances = [sensor.from_celsius(value) for value in temperatures]
    slow = 0
    for references in ((0.0,), (0.0, 95.0), (0.0, 40.0, 95.0), (-20.0, 0.0, 40.0, 95.0)):
        one = calibration(*references)
        correction, convert = one.correction, sensor.to_celsius
        batch = microseconds(
            lambda c=correction, f=convert: corrected_many(c, np.array([f(r) for r in resistances]))
        )
        singly = microseconds(lambda c=correction, f=convert: [corrected(c, f(r)) for r in resistances])
        alone = microseconds(lambda c=correction: corrected_many(c, celsius))
        unsure = microseconds(lambda c=one: [expanded(c, value) for value in temperatures])
        print(
            f"{len(references)} points: pt100 to °C and corrected {singly:.2f} µs singly, {batch:.2f} µs in a batch; "
            f"correction of an array alone {alone:.3f} µs; uncertainty {unsure:.2f} µs"
        )
        slow += batch > MOST
    times, values = tuple(range(0, 6000, 1000)), (20.0, 20.1, 20.1, 20.2, 20.3, 20.3)
    print(f"lag-corrected: {microseconds(lambda: [ahead(times, values, 20.0) for _ in range(COUNT)]):.2f} µs")
    return 1 if slow else 0


if __name__ == "__main__":
    sys.exit(main())
