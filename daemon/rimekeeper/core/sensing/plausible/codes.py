"""Numbers of a one-wire digital thermometer that may be no temperature but a fault.

85 °C is in its register after power-on (data sheets: 0x0550), -0.0625 °C is 0xFFFF, what a bus held high says to a
reader that looks at no checksum, and 0 °C is an empty memory, whose checksum is right. All three are temperatures
too, and 85 °C is 185 °F, at which eggs thicken. So such a number is doubted only if the probe has just come back,
or if it is further from the last good reading than a product moves: 2 K and 0.2 K for each second since, of one
minute at most (chosen by us; a pan on a strong burner rises by some 0.1 K/s). It is believed again with the first
reading in reach; a thermometer that measures moves by a sixteenth of a degree soon.
"""

from __future__ import annotations

from rimekeeper.core.model import SECOND, Quality, Reason
from rimekeeper.core.plan import ProbePlan
from rimekeeper.core.sensing.doubt import Doubt
from rimekeeper.core.sensing.plausible.case import Case, Verdict
from rimekeeper.core.sensing.sensors.integers import OneWireSensor

AMBIGUOUS = (85.0, 0.0, -0.0625)
REACH = 2.0
"""K."""
REACH_PER_SECOND = 0.2
LONGEST = 60.0
"""s; a longer pause lets no further."""
_CODE = (Quality.UNCERTAIN, Reason.SENSOR_CODE)


def codes(case: Case, doubt: Doubt) -> tuple[Doubt, Verdict | None]:
    """Doubt a number that is also a code, unless the probe came there by degrees."""
    if case.uncorrected not in AMBIGUOUS or not speaks_one_wire(case.probe):
        return doubt, None
    before = case.before
    if before.good_at is None or before.good_celsius is None or before.last_at is None or before.silent:
        return doubt, _CODE
    if case.taken - before.last_at > case.probe.silent_after:
        return doubt, _CODE
    seconds = min(LONGEST, (case.taken - before.good_at) / SECOND)
    if abs(case.celsius - before.good_celsius) > REACH + REACH_PER_SECOND * seconds:
        return doubt, _CODE
    return doubt, None


def speaks_one_wire(probe: ProbePlan) -> bool:
    """Whether it is known to be a one-wire digital thermometer."""
    return probe.one_wire or isinstance(probe.sensor, OneWireSensor)
