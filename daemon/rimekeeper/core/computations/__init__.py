"""Every computation that can be asked for by name, to check a number against a handbook.

Each declares its inputs with units, what it gives, its range of validity and its source. A new one is a
:class:`Computation` in the list of its subject; sensors join by themselves.
"""

from __future__ import annotations

from collections.abc import Mapping

from rimekeeper.core.computations.calibrating import OF_CALIBRATING
from rimekeeper.core.computations.combining import OF_COMBINING
from rimekeeper.core.computations.contract import Answer, Computation
from rimekeeper.core.computations.freezing import OF_FREEZING
from rimekeeper.core.computations.hardening import OF_HARDENING
from rimekeeper.core.computations.heating import OF_HEATING
from rimekeeper.core.computations.lagging import OF_LAGGING
from rimekeeper.core.computations.scales import OF_SCALES
from rimekeeper.core.computations.sensors import OF_SENSORS
from rimekeeper.core.computations.storage import OF_STORAGE

__all__ = ["COMPUTATIONS", "Answer", "Computation"]

COMPUTATIONS: Mapping[str, Computation] = {
    one.name: one
    for one in (
        *OF_SENSORS,
        *OF_SCALES,
        *OF_CALIBRATING,
        *OF_LAGGING,
        *OF_HEATING,
        *OF_FREEZING,
        *OF_COMBINING,
        *OF_HARDENING,
        *OF_STORAGE,
    )
}
