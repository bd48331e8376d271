"""Series of readings for tests of what is doubted: a probe, what it said when, and what was believed of it."""

from __future__ import annotations

from rimekeeper.core.model import Instant, ProbeId, Quality, Reason, Sample, Scale, SourceId
from rimekeeper.core.plan import ProbePlan
from rimekeeper.core.sensing.duty import NO_DUTY, Duty
from rimekeeper.core.sensing.reading import read
from rimekeeper.core.state import ProbeSlot

T0 = 1_795_600_800_000
STAGE = Duty("custard-1/cook")
AIR = ProbeId("air")


def plan(name="pan", **more):
    return ProbePlan(ProbeId(name), name.capitalize(), SourceId("stove"), name, **more)


class Watched:
    """Probes that are read one after the other, each seeing the others as they are."""

    def __init__(self, *plans, duty=STAGE, measured=None):
        self.plans = {one.id: one for one in plans}
        self.slots = {one.id: ProbeSlot(one.id) for one in plans}
        self.duty, self.measured = duty, measured
        self.found = []

    def say(self, name, seconds, value, scale=Scale.CELSIUS, **more):
        """One reading; its reason ("" when it is good)."""
        at = Instant(T0 + round(seconds * 1000))
        sample = Sample(SourceId("stove"), name, value, scale, at, **more)
        duty = NO_DUTY if name == AIR else self.duty
        reading, slot, _ = read(self.plans[name], self.slots[name], sample, self.measured, duty, self.slots)
        self.slots[name] = slot
        self.found.append(reading)
        assert (reading.quality is Quality.GOOD) == (reading.reason is Reason.NONE)
        return reading.reason

    def run(self, name, points, **more):
        """A whole series of (seconds, value); the reasons."""
        return [self.say(name, seconds, value, **more) for seconds, value in points]


def doubted(reasons):
    """The reasons other than none, once each, in order."""
    return list(dict.fromkeys(reason for reason in reasons if reason is not Reason.NONE))
