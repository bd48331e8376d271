"""From the words of the files to the plan that the core works with."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from rimekeeper.config.edges import ModbusSettings, MqttSettings, SerialSettings
from rimekeeper.config.kitchen import ChannelSettings, KitchenFile, LimitSettings
from rimekeeper.config.mix import MixSettings, frozen_target, mix_plan
from rimekeeper.config.process_tables import cooling_rule, heat_table
from rimekeeper.config.sensor_tables import sensor_kind, sensor_of
from rimekeeper.config.sheet import CRITICAL_KINDS, USUAL_APPROACH, SheetFile, StageSettings
from rimekeeper.config.sheet_checks import predecessors
from rimekeeper.core.model import (
    ChannelId,
    ClockTrust,
    Millis,
    PersonId,
    ProbeId,
    RoleId,
    Scale,
    SheetId,
    SourceId,
    StageId,
    StationId,
    TemperatureDifference,
)
from rimekeeper.core.plan import (
    Advance,
    Approach,
    CallPolicy,
    CallStep,
    KitchenPlan,
    LimitPlan,
    PersonPlan,
    Priority,
    ProbePlan,
    RolePlan,
    SheetPlan,
    Side,
    SourcePlan,
    StageKind,
    StagePlan,
    StationKind,
    StationPlan,
)

_ADVANCE = {
    "hand": Advance.HAND,
    "target": Advance.TARGET,
    "confirm": Advance.CONFIRM,
    "time": Advance.TIME,
}


def kitchen_plan(file: KitchenFile, sheets: Mapping[SheetId, SheetPlan]) -> KitchenPlan:
    """The plan of a kitchen whose files are in order."""
    room, together = file.kitchen.room, pairs(file)
    return KitchenPlan(
        name=file.kitchen.name,
        zone=file.kitchen.zone,
        scale=Scale(file.kitchen.unit),
        sources=_sources(file),
        probes={
            ProbeId(name): ProbePlan(
                id=ProbeId(name),
                name=probe.name,
                source=SourceId(probe.source),
                channel=probe.channel if probe.channel is not None else name,
                scale=Scale(probe.unit),
                clock=ClockTrust(probe.clock),
                silent_after=Millis(probe.silent_after),
                lowest=probe.lowest,
                highest=probe.highest,
                max_rate_kelvin_per_second=probe.fastest,
                sensor=sensor_of(probe.sensor, measured_junction=probe.cold_junction_probe is not None),
                junction=ProbeId(probe.cold_junction_probe) if probe.cold_junction_probe else None,
                accuracy=probe.accuracy,
                resolution=probe.resolution,
                calibrate_every=Millis(probe.calibrate_every),
                stuck_after=Millis(probe.stuck_after),
                one_wire=probe.one_wire or sensor_kind(probe.sensor) == "one-wire",
                fault_codes=probe.fault_codes,
                beside=None if name not in together else ProbeId(together[name][0]),
                beside_within=together[name][1] if name in together else probe.beside_within,
                room=ProbeId(room) if room is not None and room != name else None,
            )
            for name, probe in file.probe.items()
        },
        stations={
            StationId(name): StationPlan(
                id=StationId(name),
                name=station.name,
                kind=StationKind(station.kind),
                probe=ProbeId(station.probe),
                limits=tuple(
                    limit_plan(side, limit)
                    for side, limit in ((Side.CEILING, station.ceiling), (Side.FLOOR, station.floor))
                    if limit is not None
                ),
            )
            for name, station in file.station.items()
        },
        sheets=dict(sheets),
        people={
            PersonId(name): PersonPlan(
                PersonId(name), person.name, tuple(ChannelId(channel) for channel in person.channels)
            )
            for name, person in file.person.items()
        },
        policies=tuple(
            CallPolicy(
                priorities=frozenset(Priority[word.upper()] for word in callout.priorities),
                steps=tuple(
                    CallStep(tuple(PersonId(p) for p in step.people), Millis(step.wait))
                    for step in callout.steps
                ),
                repeat_every=Millis(callout.repeat_every),
            )
            for callout in file.callout
        ),
    )


def pairs(file: KitchenFile) -> dict[str, tuple[str, TemperatureDifference]]:
    """For each probe with another one beside it: which, and how far they may differ; both ways round."""
    found: dict[str, tuple[str, TemperatureDifference]] = {}
    for name, probe in file.probe.items():
        if probe.beside is not None:
            found[name] = (probe.beside, probe.beside_within)
            found.setdefault(probe.beside, (name, probe.beside_within))
    return found


def _sources(file: KitchenFile) -> dict[SourceId, SourcePlan]:
    kinds: tuple[tuple[str, Mapping[str, SerialSettings | ModbusSettings | MqttSettings]], ...] = (
        ("serial", file.serial),
        ("modbus", file.modbus),
        ("mqtt", file.mqtt),
    )
    return {
        SourceId(name): SourcePlan(SourceId(name), settings.name or name, kind)
        for kind, tables in kinds
        for name, settings in tables.items()
    }


def limit_plan(side: Side, limit: LimitSettings) -> LimitPlan:
    """A ceiling or floor."""
    return LimitPlan(
        side=side,
        limit=limit.limit,
        deadband=limit.deadband,
        on_delay=Millis(limit.on_delay),
        off_delay=Millis(limit.off_delay),
        priority=Priority[limit.priority.upper()],
        action=limit.action,
    )


def sheet_plan(file: SheetFile, sheet: SheetId) -> SheetPlan:
    """The plan of a sheet that is in order."""
    before = predecessors(file)
    return SheetPlan(
        id=sheet,
        name=file.sheet.name,
        roles=tuple(RolePlan(RoleId(role.id), role.name, role.fastest) for role in file.role),
        stages=tuple(_stage_plan(stage, before[stage.id], file.mix) for stage in file.stage),
        mix=None if file.mix is None else mix_plan(file.mix),
        allergens=file.sheet.allergens,
        note=file.sheet.note,
    )


def _stage_plan(stage: StageSettings, after: tuple[str, ...], mix: MixSettings | None) -> StagePlan:
    approach = Approach(stage.approach or USUAL_APPROACH[stage.kind])
    return StagePlan(
        id=StageId(stage.id),
        name=stage.name,
        kind=StageKind(stage.kind),
        role=RoleId(stage.role),
        after=tuple(StageId(name) for name in after),
        portion=stage.portion,
        target=frozen_target(mix, stage.target_frozen) if stage.target is None else stage.target,
        target_frozen=stage.target_frozen,
        band=_usual_band(approach) if stage.band is None else stage.band,
        approach=approach,
        settle=Millis(stage.settle),
        hold=Millis(stage.hold),
        heads_up=Millis(stage.heads_up),
        reach_within=_millis(stage.reach_within),
        stay_at_most=_millis(stage.stay_at_most),
        lasts=_millis(stage.lasts),
        ceiling=None if stage.ceiling is None else limit_plan(Side.CEILING, stage.ceiling),
        floor=None if stage.floor is None else limit_plan(Side.FLOOR, stage.floor),
        heat=heat_table(stage.heat),
        cooling=cooling_rule(stage.cooling),
        critical=stage.kind in CRITICAL_KINDS if stage.critical is None else stage.critical,
        advance=_ADVANCE[stage.advance],
        do=stage.do,
        caution=stage.caution,
    )


def _usual_band(approach: Approach) -> TemperatureDifference:
    return TemperatureDifference(0.5 if approach is Approach.WITHIN else 0.0)


def _millis(length: int | None) -> Millis | None:
    return None if length is None else Millis(length)


def serial_settings(file: KitchenFile) -> dict[str, SerialSettings]:
    """The ports, each called by its table's name."""
    return {name: port.model_copy(update={"name": name}) for name, port in file.serial.items()}


def modbus_settings(file: KitchenFile) -> dict[str, ModbusSettings]:
    """The fieldbus lines, each called by its table's name."""
    return {name: line.model_copy(update={"name": name}) for name, line in file.modbus.items()}


def mqtt_settings(file: KitchenFile, folder: Path) -> dict[str, MqttSettings]:
    """The brokers, each called by its table's name, with full paths of their files."""
    keys = ("password_file", "ca_file", "cert_file", "key_file")
    return {
        name: broker.model_copy(
            update={
                "name": name,
                **{key: beside(folder, given) for key in keys if (given := getattr(broker, key)) is not None},
            }
        )
        for name, broker in file.mqtt.items()
    }


def channel_settings(file: KitchenFile, folder: Path) -> dict[str, ChannelSettings]:
    """The channels, with full paths of their files."""
    return {
        name: channel
        if channel.apprise_file is None
        else channel.model_copy(update={"apprise_file": beside(folder, channel.apprise_file)})
        for name, channel in file.channel.items()
    }


def beside(folder: Path, given: str) -> str:
    """A file name of the kitchen file, from its folder on."""
    return str(folder / Path(given).expanduser())
