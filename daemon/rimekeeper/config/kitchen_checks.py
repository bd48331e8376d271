"""What only shows when the parts of a kitchen file are seen together."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from rimekeeper.config.key_lines import KeyPath
from rimekeeper.config.kitchen import CalloutSettings, KitchenFile, LimitSettings, ProbeSettings
from rimekeeper.config.plausibility_checks import plausibility
from rimekeeper.config.problems import Problem
from rimekeeper.config.sensor_tables import read_sensor, sensor_kind
from rimekeeper.config.validation import Validated, suggestion

SHORTEST_REPEAT = 1_000
SOURCE_TABLES = {"serial": "serial port", "modbus": "fieldbus line", "mqtt": "broker"}
"""Tables of what carries probes, and what each is called."""
PRIORITIES = ("low", "medium", "high", "critical")


@dataclass(frozen=True)
class KitchenUnderCheck:
    """The parts of a kitchen file that are right by themselves, and where its file names begin."""

    source: Validated[KitchenFile]
    file: KitchenFile
    folder: Path

    def problem(self, path: KeyPath, message: str, remedy: str = "") -> Problem:
        """An error at a key."""
        return self.source.text.problem(path, message, remedy)

    def warning(self, path: KeyPath, message: str, remedy: str = "") -> Problem:
        """Something worth a look at a key."""
        return self.source.text.problem(path, message, remedy, warning=True)

    def unknown(self, path: KeyPath, table: str, name: str) -> Iterator[Problem]:
        """A problem if no table of that kind has the name (faulty ones count as there)."""
        names = self.source.names(table)
        if name not in names:
            yield self.problem(
                path, f"there is no [{table}.{name}]", suggestion(name, names, f"[{table}] tables here")
            )


def sources(kitchen: KitchenUnderCheck) -> Iterator[Problem]:
    """Ports, fieldbus lines and brokers share one set of names."""
    taken: dict[str, str] = {}
    for table, what in SOURCE_TABLES.items():
        for name in kitchen.source.names(table):
            if (other := taken.setdefault(name, what)) != what:
                yield kitchen.problem(
                    (table, name), f'"{name}" is also the name of a {other}', "Give one of them another name."
                )


def probes(kitchen: KitchenUnderCheck) -> Iterator[Problem]:
    """Probes: where they come from, and that no two read the same channel."""
    readers: dict[tuple[str, str], str] = {}
    known = [name for table in SOURCE_TABLES for name in kitchen.source.names(table)]
    for name, probe in kitchen.file.probe.items():
        path = ("probe", name)
        channel = probe.channel if probe.channel is not None else name
        if probe.source not in known:
            yield kitchen.problem(
                (*path, "source"),
                f'there is no source "{probe.source}"',
                suggestion(
                    probe.source, known, "Sources here ([serial.NAME], [modbus.NAME] and [mqtt.NAME])"
                ),
            )
        if (other := readers.setdefault((probe.source, channel), name)) != name:
            yield kitchen.problem(
                path,
                f'it reads channel "{channel}" of "{probe.source}", which probe "{other}" reads already',
                "Remove one of them, or give it another channel.",
            )
        if probe.lowest.celsius >= probe.highest.celsius:
            yield kitchen.problem(
                (*path, "lowest"),
                "lowest is not below highest",
                "No reading could ever be believed; swap them.",
            )
        if probe.silent_after <= 0:
            yield kitchen.problem(
                (*path, "silent_after"),
                "a probe can't be silent after no time",
                'Write a length such as "60 s".',
            )
        yield from _channel_exists(kitchen, (*path, "channel"), probe.source, channel)


def sensors(kitchen: KitchenUnderCheck) -> Iterator[Problem]:
    """Sensors: kinds that exist, parameters that a sensor can have, and no scale beside them."""
    for name, probe in kitchen.file.probe.items():
        path = ("probe", name)
        yield from _junction(kitchen, name, probe)
        if probe.sensor is None:
            continue
        if "unit" in probe.model_fields_set:
            yield kitchen.problem(
                (*path, "unit"),
                "unit is for an instrument that sends temperatures, and this probe has a sensor",
                "Remove unit, or sensor.",
            )
        measured = probe.cold_junction_probe is not None
        for fault in read_sensor(probe.sensor, measured_junction=measured).faults:
            say = kitchen.warning if fault.only_a_warning else kitchen.problem
            yield say((*path, "sensor", *fault.path), fault.what, fault.remedy)


def _junction(kitchen: KitchenUnderCheck, name: str, probe: ProbeSettings) -> Iterator[Problem]:
    """A cold junction that another probe measures: of a thermocouple, by a probe that is there."""
    junction = probe.cold_junction_probe
    if junction is None:
        return
    path = ("probe", name, "cold_junction_probe")
    kind = sensor_kind(probe.sensor) or ""
    if not kind.startswith("thermocouple-"):
        yield kitchen.problem(
            path, "only a thermocouple has a cold junction", 'Add sensor = "thermocouple-k", or remove this.'
        )
    elif isinstance(probe.sensor, dict) and "cold_junction" in probe.sensor:
        yield kitchen.problem(
            path, "its sensor has a cold_junction too", "Keep one of them: the measured one is better."
        )
    if junction == name:
        yield kitchen.problem(
            path, "a probe can't measure its own cold junction", "Name the probe at its terminal block."
        )
    else:
        yield from kitchen.unknown(path, "probe", junction)


def _channel_exists(
    kitchen: KitchenUnderCheck, path: KeyPath, source: str, channel: str
) -> Iterator[Problem]:
    names: list[str] = []
    if (port := kitchen.file.serial.get(source)) is not None:
        names = [place.name for place in port.channels]
    elif (line := kitchen.file.modbus.get(source)) is not None:
        names = [place.name for place in line.channels]
    elif (broker := kitchen.file.mqtt.get(source)) is not None:
        fixed = [topic.channel for topic in broker.topics]
        names = [name for name in fixed if name is not None]
        if len(names) < len(fixed):
            return
    if names and channel not in names:
        yield kitchen.problem(
            path,
            f'"{source}" delivers no channel "{channel}"',
            suggestion(channel, dict.fromkeys(names), "Its channels"),
        )


def stations(kitchen: KitchenUnderCheck) -> Iterator[Problem]:
    """Stations: their probe and limits that can be crossed."""
    for name, station in kitchen.file.station.items():
        path = ("station", name)
        yield from kitchen.unknown((*path, "probe"), "probe", station.probe)
        if station.ceiling is None and station.floor is None:
            yield kitchen.warning(
                path,
                "it has neither a ceiling nor a floor, so nothing will ever raise an alarm",
                f'Add [station.{name}.ceiling] with limit = "-15 C" or what fits.',
            )
        yield from limits_apart(kitchen.problem, path, station.ceiling, station.floor)
        probe = kitchen.file.probe.get(station.probe)
        for side, limit in (("ceiling", station.ceiling), ("floor", station.floor)):
            if probe is None or limit is None:
                continue
            if not probe.lowest.celsius < limit.limit.celsius < probe.highest.celsius:
                yield kitchen.problem(
                    (*path, side, "limit"),
                    f'the limit lies outside what probe "{station.probe}" is believed to read (lowest to highest)',
                    "Correct the limit, or lowest and highest of the probe.",
                )


def limits_apart(
    problem: Callable[[KeyPath, str, str], Problem],
    path: KeyPath,
    ceiling: LimitSettings | None,
    floor: LimitSettings | None,
) -> Iterator[Problem]:
    """A floor below its ceiling, with room for both deadbands."""
    if ceiling is None or floor is None:
        return
    gap = ceiling.limit.celsius - floor.limit.celsius
    if gap <= 0:
        yield problem(
            (*path, "floor", "limit"),
            "the floor is not below the ceiling",
            "Lower the floor or raise the ceiling.",
        )
    elif ceiling.deadband.kelvin + floor.deadband.kelvin > gap:
        yield problem(
            (*path, "floor", "deadband"),
            "the deadbands of floor and ceiling overlap, so that no value would count as normal again",
            "Make them smaller.",
        )


def people(kitchen: KitchenUnderCheck) -> Iterator[Problem]:
    """People can be reached."""
    for name, person in kitchen.file.person.items():
        path = ("person", name)
        if not person.channels:
            yield kitchen.problem(
                path, f"{person.name} has no channel and can't be reached", 'Add channels = ["..."].'
            )
        for number, channel in enumerate(person.channels):
            yield from kitchen.unknown((*path, "channels", number), "channel", channel)
        yield from _repeated(kitchen, (*path, "channels"), person.channels)


def _repeated(kitchen: KitchenUnderCheck, path: KeyPath, names: Iterable[str]) -> Iterator[Problem]:
    seen: set[str] = set()
    for name in names:
        if name in seen:
            yield kitchen.problem(path, f'"{name}" stands here twice', "Remove one of them.")
        seen.add(name)


def callouts(kitchen: KitchenUnderCheck) -> Iterator[Problem]:
    """Every call-out reaches somebody, and it is clear which one an alarm takes."""
    taken: set[str] = set()
    for number, callout in enumerate(kitchen.file.callout):
        path = kitchen.source.at("callout", number)
        if not callout.priorities:
            yield kitchen.problem(
                (*path, "priorities"), "the list is empty", 'Write priorities = ["high", "critical"].'
            )
        for word in callout.priorities:
            if word in taken:
                yield kitchen.problem(
                    (*path, "priorities"),
                    f'priority "{word}" stands in two places',
                    "An alarm follows one call-out; leave the priority in one of them.",
                )
            taken.add(word)
        if callout.repeat_every < SHORTEST_REPEAT:
            yield kitchen.problem(
                (*path, "repeat_every"),
                "calls would be repeated without a pause",
                'Write a length such as "10 min".',
            )
        yield from _steps(kitchen, path, callout)
    if kitchen.source.whole:
        yield from _uncalled(kitchen, taken)


def _steps(kitchen: KitchenUnderCheck, path: KeyPath, callout: CalloutSettings) -> Iterator[Problem]:
    if not callout.steps:
        yield kitchen.problem(
            path, "it has no steps, so nobody is called", 'Add [[callout.steps]] with people = ["..."].'
        )
    for step, called in enumerate(callout.steps):
        here = (*path, "steps", step)
        if not called.people:
            yield kitchen.problem(here, "nobody is called in this step", 'Add people = ["..."].')
        for place, person in enumerate(called.people):
            yield from kitchen.unknown((*here, "people", place), "person", person)
        if called.wait < SHORTEST_REPEAT:
            yield kitchen.problem(
                (*here, "wait"), "nobody could answer in that time", 'Write a length such as "5 min".'
            )


def _uncalled(kitchen: KitchenUnderCheck, taken: set[str]) -> Iterator[Problem]:
    limits = [
        limit.priority
        for station in kitchen.file.station.values()
        for limit in (station.ceiling, station.floor)
        if limit is not None
    ]
    missing = [word for word in PRIORITIES[2:] if word not in taken and (word in limits or word == "high")]
    if missing and kitchen.file.station:
        words = " or ".join(f'"{word}"' for word in missing)
        yield kitchen.warning(
            ("callout",),
            f"nobody is called about alarms of priority {words}",
            "Add a [[callout]]; until then they only stand on the pages.",
        )


def buttons(kitchen: KitchenUnderCheck) -> Iterator[Problem]:
    """Buttons: a broker that exists, and one meaning for each topic."""
    meanings: dict[tuple[str, str], str] = {}
    for number, button in enumerate(kitchen.file.button):
        path = kitchen.source.at("button", number)
        yield from kitchen.unknown((*path, "mqtt"), "mqtt", button.mqtt)
        if (trouble := filter_trouble(button.topic)) is not None:
            yield kitchen.problem((*path, "topic"), trouble, 'Write one such as "kitchen/button/1".')
        before = meanings.setdefault((button.mqtt, button.topic), button.does)
        if before != button.does:
            yield kitchen.problem(
                (*path, "topic"), f'a press on "{button.topic}" would also {before}', "Use a topic for each."
            )


def links(kitchen: KitchenUnderCheck) -> Iterator[Problem]:
    """Links in call-outs lead to a page that a phone can open."""
    leave = any(c.kind in ("apprise", "mqtt") for c in kitchen.file.channel.values())
    base = kitchen.file.web.link_base()
    here = base.startswith(("http://127.", "http://localhost:", "http://[::1]:"))
    if leave and here and not kitchen.file.web.address and kitchen.source.whole:
        yield kitchen.warning(
            ("web", "address"),
            f"links in call-outs will begin with {base}, which only this machine can open",
            'Add address = "http://..." under [web], as phones in the house reach this machine.',
        )


def filter_trouble(text: str) -> str | None:
    """Why a text is no topic filter (MQTT 5, 4.7), or None."""
    levels = text.split("/")
    if any("#" in level and (level != "#" or place < len(levels) - 1) for place, level in enumerate(levels)):
        return f'"{text}" is not a topic filter: "#" may only be the whole last level'
    if any("+" in level and level != "+" for level in levels):
        return f'"{text}" is not a topic filter: "+" may only be a whole level'
    if "\0" in text or not text:
        return "the topic filter is empty or has a character that may not stand in it"
    return None


def unused(kitchen: KitchenUnderCheck) -> Iterator[Problem]:
    """What is described and never used: harmless, but seldom meant. Only said of a file without faults."""
    if not kitchen.source.whole:
        return
    read = {probe.source for probe in kitchen.file.probe.values()}
    read_channels = {(p.source, p.channel or name) for name, p in kitchen.file.probe.items()}
    wires = [("serial", name, [c.name for c in port.channels]) for name, port in kitchen.file.serial.items()]
    wires += [("modbus", name, [c.name for c in line.channels]) for name, line in kitchen.file.modbus.items()]
    for table, name, places in wires:
        if name not in read:
            yield kitchen.warning(
                (table, name), "no probe reads this port", f'Add a [probe.ID] with source = "{name}".'
            )
            continue
        for number, place in enumerate(places):
            if (name, place) not in read_channels:
                yield kitchen.warning(
                    (table, name, "channels", number),
                    f'no probe reads channel "{place}"',
                    "Its values are seen on the Probes page and not stored.",
                )
    named = {channel for person in kitchen.file.person.values() for channel in person.channels}
    for name in kitchen.file.channel:
        if name not in named:
            yield kitchen.warning(
                ("channel", name), "nobody is called by this channel", "Add it to a person's channels."
            )
    called = {p for c in kitchen.file.callout for step in c.steps for p in step.people}
    for name, person in kitchen.file.person.items():
        if name not in called:
            yield kitchen.warning(
                ("person", name), f"{person.name} is in no call-out", "Add a [[callout.steps]] with them."
            )


KITCHEN_CHECKS = (sources, probes, sensors, plausibility, stations, people, callouts, buttons, links, unused)
