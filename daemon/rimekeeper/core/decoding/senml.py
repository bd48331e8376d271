"""SenML in JSON (RFC 8428): packs of records with base values, resolved to name, unit, time, value and sum.

Section numbers are those of RFC 8428. Units: Cel and K are temperatures; records in other units, and records
that carry text, a truth value or data, belong to somebody else and are passed over. There is no unit for
Fahrenheit (F is the farad).
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from rimekeeper.core.decoding.figures import FigureError, instant_of_millis, number_in_json
from rimekeeper.core.decoding.found import Decoded, Found, Refused, name_trouble, refuse, shown
from rimekeeper.core.decoding.json_path import document_of
from rimekeeper.core.model import Instant, Scale

VERSION = 10
"""The version this reader understands and the default of ``bver`` (section 4.1)."""
RELATIVE_BELOW = 2.0**28
"""Times below this many seconds count from the moment of arrival (section 4.5.3)."""
MOST_RECORDS = 10_000

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9\-:./_]*")
_SCALES = {"Cel": Scale.CELSIUS, "K": Scale.KELVIN, None: None}
_OTHER_VALUES = ("vs", "vb", "vd")


class _PackError(ValueError):
    """Nothing of the pack may be used."""


@dataclass(frozen=True, slots=True)
class Resolved:
    """A record with its base values applied (section 4.6).

    ``time`` is in seconds since 1970, or relative to arrival when below 2**28; ``value`` is None when the record
    has a sum, a text, a truth value or data instead of a number.
    """

    name: str
    unit: str | None
    time: float
    value: float | None
    sum: float | None


@dataclass(frozen=True, slots=True)
class _Base:
    name: str = ""
    time: float = 0.0
    unit: str | None = None
    value: float = 0.0
    sum: float | None = None
    version: int | None = None


def resolve(payload: bytes) -> tuple[tuple[Resolved, ...], tuple[Refused, ...]]:
    """Resolve a pack: records in order of time, and the records that can't be used with the reason."""
    try:
        return _resolve_pack(document_of(payload))
    except (_PackError, FigureError) as fault:
        return (), (Refused(shown(payload), str(fault)),)


def decode_senml(payload: bytes, arrived_at: Instant, nameless: str | None = None) -> Decoded:
    """The temperatures of a pack. ``nameless`` is the channel of records that have no name at all."""
    resolved, refused = resolve(payload)
    found: list[Found] = []
    troubles = list(refused)
    others: set[str] = set()
    for record in resolved:
        if record.unit not in _SCALES:
            others.add(record.unit or "")
            continue
        if record.value is None:
            continue
        name = record.name or nameless or ""
        trouble = name_trouble(name)
        if trouble is None and record.name and not _NAME.fullmatch(record.name):
            trouble = f'"{shown(record.name)}" is not a SenML name (letters, digits and - : . / _)'
        if trouble is not None:
            troubles.append(Refused(shown(payload), trouble))
            continue
        found.append(Found(name, record.value, _SCALES[record.unit], _instant(record.time, arrived_at)))
    if not found and not troubles:
        units = f"; units seen: {', '.join(sorted(shown(u) for u in others)[:8])}" if others else ""
        return refuse(payload, f"the pack has no temperature (unit Cel or K){units}")
    return Decoded(tuple(found), tuple(troubles))


def _instant(time: float, arrived_at: Instant) -> Instant | None:
    if time == 0.0:
        return None
    if time < RELATIVE_BELOW:
        return instant_of_millis(arrived_at + time * 1000.0)
    return instant_of_millis(time * 1000.0)


def _resolve_pack(pack: object) -> tuple[tuple[Resolved, ...], tuple[Refused, ...]]:
    if not isinstance(pack, list):
        raise _PackError("a SenML pack is a JSON array of records")
    if len(pack) > MOST_RECORDS:
        raise _PackError(f"the pack has more than {MOST_RECORDS} records")
    base = _Base()
    resolved: list[Resolved] = []
    refused: list[Refused] = []
    for number, record in enumerate(pack, 1):
        if not isinstance(record, dict):
            raise _PackError(f"record {number} is not an object")
        for label in record:
            if label.endswith("_"):
                raise _PackError(f'record {number} has "{shown(label)}", which must be understood and is not')
        base = _with_base(base, record, number)
        try:
            found = _with_own(base, record)
        except FigureError as fault:
            refused.append(Refused(shown(repr(record)), f"record {number}: {fault}"))
            continue
        if found is not None:
            resolved.append(found)
    return tuple(sorted(resolved, key=lambda r: r.time)), tuple(refused)


def _with_base(base: _Base, record: dict[str, object], number: int) -> _Base:
    """Base fields hold from this record on (section 4.1). A bad one spoils all that follows: the pack is refused."""
    try:
        if "bn" in record:
            base = replace(base, name=_text(record, "bn"))
        if "bt" in record:
            base = replace(base, time=_number(record, "bt"))
        if "bu" in record:
            base = replace(base, unit=_text(record, "bu"))
        if "bv" in record:
            base = replace(base, value=_number(record, "bv"))
        if "bs" in record:
            base = replace(base, sum=_number(record, "bs"))
        if "bver" in record:
            base = replace(base, version=_version(record["bver"]))
    except FigureError as fault:
        raise _PackError(f"record {number}: {fault}") from None
    return base


def _version(value: object) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or value < 1:
        raise FigureError('"bver" is not a version number')
    if value > VERSION:
        raise FigureError(
            f'"bver" is {shown(str(value)[:20])}; this reader understands SenML up to version {VERSION}'
        )
    return value


def _with_own(base: _Base, record: dict[str, object]) -> Resolved | None:
    """Apply the base fields to a record (section 4.5); None when it carries nothing but base fields."""
    values = [label for label in ("v", *_OTHER_VALUES) if label in record]
    if len(values) > 1:
        raise FigureError(f"it has more than one value ({', '.join(values)})")
    if not values and "s" not in record and base.sum is None:
        if any(label in record for label in ("n", "u", "t", "ut")):
            raise FigureError("it has neither a value nor a sum")
        return None
    own_sum = _number(record, "s") if "s" in record else None
    total = None if own_sum is None and base.sum is None else (own_sum or 0.0) + (base.sum or 0.0)
    return Resolved(
        name=base.name + (_text(record, "n") if "n" in record else ""),
        unit=_text(record, "u") if "u" in record else base.unit,
        time=_finite(base.time + (_number(record, "t") if "t" in record else 0.0), "t"),
        value=_finite(base.value + _number(record, "v"), "v") if "v" in record else None,
        sum=total,
    )


def _number(record: dict[str, object], label: str) -> float:
    try:
        return number_in_json(record[label])
    except FigureError as fault:
        raise FigureError(f'"{label}" {fault}') from None


def _finite(number: float, label: str) -> float:
    try:
        return number_in_json(number)
    except FigureError as fault:
        raise FigureError(f'"{label}" with its base value {fault}') from None


def _text(record: dict[str, object], label: str) -> str:
    value = record[label]
    if not isinstance(value, str):
        raise FigureError(f'"{label}" is not text')
    return value
