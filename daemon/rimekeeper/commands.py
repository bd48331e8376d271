"""What the short commands do: look at ports and topics, export readings, replay a file."""

from __future__ import annotations

import contextlib
import csv
import datetime as dt
import sys
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import TextIO
from zoneinfo import ZoneInfo

from rich.table import Table

from rimekeeper.cli_common import bindings_of, console, data_folder
from rimekeeper.config.loading import load
from rimekeeper.core.errors import RefusedError, StoreError
from rimekeeper.core.messages import StartBatch
from rimekeeper.core.model import (
    Actor,
    BatchId,
    ClockTrust,
    Instant,
    ProbeId,
    RoleId,
    Scale,
    SheetId,
    SourceId,
)
from rimekeeper.core.plan import KitchenPlan, ProbePlan, SourcePlan
from rimekeeper.intake.look import look as look_around
from rimekeeper.intake.ports_seen import PortSeen
from rimekeeper.intake.replay import ReplayIntake
from rimekeeper.keeping.reader import Reader
from rimekeeper.keeping.rows import TaggedReading
from rimekeeper.keeping.store import DATABASE, Store
from rimekeeper.runtime.clock import EventClock, SystemClock
from rimekeeper.runtime.inbox import Inbox
from rimekeeper.runtime.pipeline import Pipeline

REPLAY = SourceId("replay")
COLUMNS = (
    "time", "time_ms", "probe", "celsius", "raw", "quality", "reason", "late", "batch", "stage", "role", "calibration",
)  # fmt: skip


def look(kitchen: Path, seconds: float) -> None:
    """Print what the ports and topics say right now."""
    if kitchen.is_file():
        loaded = load(kitchen)
        serial, brokers = tuple(loaded.serial.values()), tuple(loaded.mqtt.values())
        lines = tuple(loaded.modbus.values())
        claimed = {(p.source, p.channel): p.id for p in loaded.plan.probes.values()}
    else:
        serial, brokers, lines, claimed = (), (), (), {}
        console.print(f"There is no {kitchen} yet, so only the ports of this machine are listed.")
    seen = look_around(serial, brokers, seconds, SystemClock(), lines)
    ports = Table("port", "what it says it is", "usb = { … }", box=None, title="Serial ports")
    for port in seen.ports:
        ports.add_row(port.device, port.description, _usb_setting(port))
    console.print(ports if seen.ports else "No serial port is plugged in.")
    for source, state in seen.states.items():
        console.print(f"{source}: {state.health.value} {state.why}", markup=False, highlight=False)
    heard = Table("source", "channel", "value", "probe", "times", "text", "trouble", box=None, title="Heard")
    for channel in seen.seen:
        value = "" if channel.value is None else f"{channel.value:g} {channel.scale or ''}"
        probe = claimed.get((channel.source, channel.place), "")
        heard.add_row(
            channel.source, channel.place, value, probe, str(channel.count), channel.text[:60], channel.why
        )
    console.print(heard if seen.seen else f"Nothing was heard in {seconds:g} s.")


def _usb_setting(port: PortSeen) -> str:
    """The setting that finds this adapter in whatever socket it is plugged in."""
    if port.vendor is None:
        return ""
    serial = f', serial = "{port.serial}"' if port.serial else ""
    return f'{{ vendor = "{port.vendor}", product = "{port.product}"{serial} }}'


# --- export ------------------------------------------------------------------------------------------------


def export(
    kitchen: Path,
    data: Path | None,
    probes: tuple[str, ...],
    batch: str,
    since: str,
    until: str,
    out: Path | None,
) -> None:
    """Write readings as CSV."""
    folder, zone = _folder_and_zone(kitchen, data)
    database = folder / DATABASE
    if not database.is_file():
        raise StoreError(f"There are no readings in {folder}. Name the daemon's data folder with --data.")
    reader = Reader(database)
    reader.check_version()
    begins, ends = _moment(since, zone, Instant(0)), _moment(until, zone, Instant(2**53))
    known = reader.probe_ids()
    unknown = [p for p in probes if p not in known]
    if unknown:
        raise RefusedError(
            f'No readings of "{unknown[0]}" are stored. Probes with readings: {", ".join(known) or "none"}.'
        )
    if batch and reader.batch(BatchId(batch)) is None:
        raise RefusedError(
            f'There is no batch "{batch}". The last ones: {", ".join(b.batch for b in reader.batches(8)) or "none"}.'
        )
    with _sheet(out) as sheet:
        writer = csv.writer(sheet, lineterminator="\n")
        writer.writerow(COLUMNS)
        for probe in probes or known:
            for tagged in reader.tagged(ProbeId(probe), begins, ends):
                if not batch or tagged.batch == batch:
                    writer.writerow(_row(tagged))


def _row(tagged: TaggedReading) -> tuple[object, ...]:
    reading = tagged.reading
    moment = dt.datetime.fromtimestamp(reading.taken_at / 1000, dt.UTC)
    return (
        moment.isoformat(timespec="milliseconds").replace("+00:00", "Z"), reading.taken_at, reading.probe,
        "" if reading.celsius is None else round(reading.celsius, 4), reading.raw,
        reading.quality.name.lower(), reading.reason.value, int(reading.late),
        tagged.batch or "", tagged.stage or "", tagged.role or "", reading.calibration or "",
    )  # fmt: skip


@contextlib.contextmanager
def _sheet(out: Path | None) -> Iterator[TextIO]:
    if out is None:
        yield sys.stdout
        return
    with out.open("w", encoding="utf-8", newline="") as file:
        yield file


def _folder_and_zone(kitchen: Path, data: Path | None) -> tuple[Path, ZoneInfo]:
    """The store's folder and the zone in which times are meant; both work without a kitchen file."""
    if not kitchen.is_file():
        return data_folder(data), ZoneInfo("UTC")
    loaded = load(kitchen)
    return data_folder(data, loaded.data_folder), ZoneInfo(loaded.plan.zone)


def _moment(text: str, zone: ZoneInfo, otherwise: Instant) -> Instant:
    if not text:
        return otherwise
    try:
        moment = dt.datetime.fromisoformat(text)
    except ValueError:
        raise RefusedError(f'"{text}" is not a moment; write 2026-11-24 or 2026-11-24T14:10.') from None
    moment = moment if moment.tzinfo else moment.replace(tzinfo=zone)
    return Instant(round(moment.timestamp() * 1000))


# --- replay ------------------------------------------------------------------------------------------------


def replay(
    file: Path,
    kitchen: Path,
    data: Path | None,
    speed: float,
    sheet: str,
    bind: tuple[str, ...],
    show: Callable[[float], None],
) -> str:
    """Send a file of readings through the pipeline into a data folder of its own; what came of it, in words."""
    loaded = load(kitchen) if kitchen.is_file() else None
    zone = loaded.plan.zone if loaded else "UTC"
    folder = data if data is not None else Path(f"{file.stem}-replayed")
    found = _scan(file, zone)
    plan = _plan_for(loaded.plan if loaded else None, tuple(found.names), file)
    inbox, clock = Inbox(), EventClock(found.first or Instant(0))
    with Store(folder) as store:
        pipeline = Pipeline(plan, store, Reader(store.database), inbox, clock)
        intake = ReplayIntake(
            file, inbox, source=REPLAY, speed=speed or None, zone=zone,
            progress=lambda progress: show(progress.bytes_done / max(1, progress.bytes_total)),
        )  # fmt: skip
        begun = ""
        pipeline.start()
        try:
            if sheet:
                command = StartBatch(
                    SheetId(sheet), tuple((RoleId(role), ProbeId(probe)) for role, probe in bindings_of(bind))
                )
                answer = pipeline.command(command, Actor("replay", "command line"))
                if not answer.accepted:
                    raise RefusedError(answer.sentence)
                begun = f" {answer.sentence}"
            intake.start()
            intake.wait()
        finally:
            intake.stop()
            pipeline.stop(timeout=120.0)
        glance = pipeline.glance()
    tally = glance.tallies.get(REPLAY)
    alarms = len(Reader(store.database).alarms(Instant(0), Instant(2**53)))
    return (
        f"{tally.stored if tally else 0} readings stored in {folder}, "
        f"{tally.duplicates if tally else 0} were there already, {intake.refused} rows could not be read, "
        f"{alarms} alarms.{begun}"
    )


class _Names:
    """Collects the channels of a file without keeping its readings (an inbox that only looks)."""

    def __init__(self) -> None:
        self.names: dict[str, None] = {}
        self.first: Instant | None = None

    def deliver(self, delivery: object) -> bool:
        for sample in delivery.samples:  # type: ignore[attr-defined]
            self.names[sample.channel] = None
            if self.first is None:
                self.first = sample.arrived_at
        return True

    def report(self, state: object) -> None:
        """Nothing to learn from it."""


def _scan(file: Path, zone: str) -> _Names:
    names = _Names()
    scan = ReplayIntake(file, names, source=REPLAY, zone=zone)
    scan.start()
    scan.wait()
    scan.stop()
    return names


def _plan_for(plan: KitchenPlan | None, names: tuple[str, ...], file: Path) -> KitchenPlan:
    """The kitchen with every probe of the file fed by the replay; unknown ones become plain probes."""
    base = plan or KitchenPlan(name=file.stem, zone="UTC")
    probes = {}
    for name in names:
        known = base.probes.get(ProbeId(name))
        plain = known or ProbePlan(ProbeId(name), name, REPLAY, name)
        probes[plain.id] = replace(
            plain, source=REPLAY, channel=name, scale=Scale.CELSIUS, clock=ClockTrust.PROBE
        )
    used = {s: p for s, p in base.stations.items() if p.probe in probes}
    source = SourcePlan(REPLAY, file.name, "replay")
    return replace(base, sources={REPLAY: source}, probes=probes, stations=used)


__all__ = ["export", "look", "replay"]
