"""What is wrong among the instruments of a fieldbus line: names, registers that overlap, times that can't work."""

from __future__ import annotations

from collections.abc import Iterator

from rimekeeper.config.edges import ModbusSettings, RegisterChannel
from rimekeeper.config.kitchen_checks import KitchenUnderCheck
from rimekeeper.config.problems import Problem
from rimekeeper.core.decoding.registers import NUMBER_TYPES

SHORTEST_TURN = 50
SHORTEST_ANSWER = 10
LAST_REGISTER = 65_535


def fieldbus_lines(kitchen: KitchenUnderCheck) -> Iterator[Problem]:
    """Each line can be asked as it is described."""
    for name, line in kitchen.file.modbus.items():
        yield from _channels(kitchen, name, line)
        yield from _times(kitchen, name, line)


def _channels(kitchen: KitchenUnderCheck, name: str, line: ModbusSettings) -> Iterator[Problem]:
    for number, place in enumerate(line.channels):
        path, before = ("modbus", name, "channels", number), line.channels[:number]
        last = _last(place)
        if place.name in [other.name for other in before]:
            yield kitchen.problem(path, f'channel "{place.name}" stands here twice', "Rename or remove one.")
        if last > LAST_REGISTER:
            yield kitchen.problem(
                path,
                f'channel "{place.name}" would end in register {last}, and {LAST_REGISTER} is the last there is',
                f"A {place.type} takes {last - place.register_ + 1} registers; correct register or type.",
            )
        if "word_order" in place.model_fields_set and last == place.register_:
            yield kitchen.warning(
                path,
                f"a {place.type} is one register, so word_order does nothing",
                "Remove it, or correct type.",
            )
        for other in before:
            if _overlap(place, other):
                yield kitchen.problem(
                    path,
                    f'channel "{place.name}" shares register {max(place.register_, other.register_)} of unit '
                    f'{place.unit} ({place.table}) with channel "{other.name}"',
                    f"{_extent(other)}, {_extent(place)}; correct register or type of one of them.",
                )
                break


def _times(kitchen: KitchenUnderCheck, name: str, line: ModbusSettings) -> Iterator[Problem]:
    path = ("modbus", name)
    if line.every < SHORTEST_TURN:
        yield kitchen.problem((*path, "every"), "no line is that quick", 'Write a length such as "2 s".')
    if line.timeout < SHORTEST_ANSWER:
        yield kitchen.problem(
            (*path, "timeout"), "no instrument answers that quickly", 'Write a length such as "500 ms".'
        )
    elif line.silent_after <= max(line.every, line.timeout):
        yield kitchen.problem(
            (*path, "silent_after"),
            "silent_after is not longer than every and timeout, so that the line would count as silent all the time",
            'Write a length such as "15 s".',
        )


def _last(place: RegisterChannel) -> int:
    return place.register_ + NUMBER_TYPES[place.type].words - 1


def _overlap(one: RegisterChannel, other: RegisterChannel) -> bool:
    same_table = (one.unit, one.table) == (other.unit, other.table)
    return same_table and one.register_ <= _last(other) and other.register_ <= _last(one)


def _extent(place: RegisterChannel) -> str:
    last = _last(place)
    extent = f"{place.register_}" if last == place.register_ else f"{place.register_} to {last}"
    return f'"{place.name}" is {place.type} and takes {extent}'
