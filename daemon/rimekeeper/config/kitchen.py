"""The kitchen file: one site's probes, stations, people and call-outs, as a person writes it (TOML)."""

from __future__ import annotations

import re
from typing import Annotated, Any, Literal
from zoneinfo import ZoneInfo

from pydantic import AfterValidator, Field, field_validator, model_validator

from rimekeeper.config.edges import ModbusSettings, MqttSettings, SerialSettings, Strict
from rimekeeper.config.quantities import DifferenceText, DurationText, RateText, TemperatureText, shown
from rimekeeper.core.model import Temperature, TemperatureDifference

_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,39}")


def is_id(text: str) -> bool:
    """Whether a text can be an id."""
    return _ID.fullmatch(text) is not None


def _id(text: str) -> str:
    if not is_id(text):
        raise ValueError(
            f'"{text}" can\'t be an id; use up to 40 letters (a to z), digits, "-" and "_", and begin with a letter or digit'
        )
    return text


Id = Annotated[str, AfterValidator(_id)]
"""An id stands in addresses and topics, so it is plain letters, digits, "-" and "_"."""

PriorityWord = Literal["low", "medium", "high", "critical"]


class KitchenSettings(Strict):
    """``[kitchen]``: the site itself."""

    name: str = Field(min_length=1, max_length=80)
    zone: str
    """IANA name of the time zone, such as ``Europe/Copenhagen``."""
    unit: Literal["C", "F"] = "C"
    language: Literal["en"] = "en"
    sheets: str = "sheets"
    """Folder of the batch sheets, beside this file."""
    room: str | None = None
    """The probe that hangs in the room: what a probe reads that was pulled out of the product."""
    data: str | None = None
    """Folder of the store; the user's own data folder by default."""

    @field_validator("zone")
    @classmethod
    def _known(cls, zone: str) -> str:
        try:
            ZoneInfo(zone)
        except (OSError, ValueError, KeyError):
            raise ValueError(
                f'"{zone}" is not a time zone; write a name such as "Europe/Copenhagen" or "America/New_York"'
            ) from None
        return zone


class WebSettings(Strict):
    """``[web]``: where the pages are served, and under which address links in call-outs lead to them."""

    host: str = Field(default="127.0.0.1", min_length=1)
    port: int = Field(default=8321, ge=0, le=65_535)
    address: str = ""
    """Such as ``http://kitchen.local:8321``; ``http://<host>:<port>`` by default."""

    @field_validator("address")
    @classmethod
    def _reachable(cls, address: str) -> str:
        if address and not re.fullmatch(r"https?://[^\s/?#]+(/[^\s?#]*)?", address):
            raise ValueError(
                f'"{address}" is not the address of a page; write one such as "http://kitchen.local:8321"'
            )
        return address.rstrip("/")

    def link_base(self) -> str:
        """The address with which links begin."""
        if self.address:
            return self.address
        host = "127.0.0.1" if self.host in ("0.0.0.0", "::", "") else self.host  # noqa: S104 - only compared
        return f"http://[{host}]:{self.port}" if ":" in host else f"http://{host}:{self.port}"


class ProbeSettings(Strict):
    """``[probe.ID]``: one temperature channel of a source."""

    name: str = Field(min_length=1, max_length=80)
    source: str
    channel: str | None = None
    """The name under which the source delivers it; the id by default."""
    unit: Literal["C", "F", "K"] = "C"
    clock: Literal["arrival", "probe"] = "arrival"
    silent_after: DurationText = 60_000
    lowest: TemperatureText = Temperature(-60.0)
    highest: TemperatureText = Temperature(200.0)
    fastest: RateText = 10.0
    accuracy: DifferenceText = TemperatureDifference(1.0)
    """Counted against critical limits (k = 2) while no calibration is in force."""
    resolution: DifferenceText = TemperatureDifference(0.1)
    calibrate_every: DurationText = 365 * 86_400_000
    stuck_after: DurationText = 6 * 3_600_000
    """"0 s": never."""
    one_wire: bool = False
    """Whether the temperatures it sends come from a one-wire digital thermometer."""
    fault_codes: tuple[float, ...] = Field(default=(), strict=False)
    """Numbers, as they come, that its instrument's manual calls faults."""
    beside: str | None = None
    """Another probe in the same place; one of the two says it."""
    beside_within: DifferenceText = TemperatureDifference(1.0)
    sensor: str | dict[str, Any] | None = None
    """``"pt100"``, or a table with ``kind`` and its parameters; what is possible stands in the registry of the core."""
    cold_junction_probe: str | None = None
    """The probe at a thermocouple's terminal block, instead of the sensor's ``cold_junction``."""

    @field_validator("sensor", mode="before")
    @classmethod
    def _text_or_table(cls, sensor: object) -> object:
        if not isinstance(sensor, str | dict):
            raise ValueError(f'{shown(sensor)} is no sensor; write its kind, such as "pt100", or a table')  # noqa: TRY004
        return sensor


class LimitSettings(Strict):
    """``ceiling`` or ``floor`` of a station or stage."""

    limit: TemperatureText
    deadband: DifferenceText = TemperatureDifference(0.5)
    on_delay: DurationText = 0
    off_delay: DurationText = 0
    priority: PriorityWord = "high"
    action: str = Field(default="", max_length=400)


class StationSettings(Strict):
    """``[station.ID]``: equipment watched round the clock."""

    name: str = Field(min_length=1, max_length=80)
    kind: Literal["freezer", "fridge", "hardening cabinet", "canister freezer", "other"] = "other"
    probe: str
    ceiling: LimitSettings | None = None
    floor: LimitSettings | None = None


class ChannelSettings(Strict):
    """``[channel.ID]``: one way to reach a person. Exactly one of the kinds."""

    apprise: str | None = None
    apprise_file: str | None = None
    mqtt: str | None = None
    topic: str | None = None
    browser: bool | None = None
    command: tuple[str, ...] | None = Field(default=None, strict=False)

    @property
    def kind(self) -> Literal["apprise", "mqtt", "browser", "command"]:
        """Which kind of channel it is."""
        if self.mqtt is not None:
            return "mqtt"
        if self.command is not None:
            return "command"
        return "browser" if self.browser else "apprise"

    @model_validator(mode="after")
    def _one_kind(self) -> ChannelSettings:
        given = [k for k in ("apprise", "apprise_file", "mqtt", "command") if getattr(self, k) is not None]
        given += ["browser"] if self.browser else []
        if len(given) != 1:
            seen = f"it has {' and '.join(given)}" if given else "it has none of them"
            raise ValueError(
                f"give exactly one of apprise, apprise_file, mqtt, browser = true, command; {seen}"
            )
        if self.mqtt is not None and not self.topic:
            raise ValueError('mqtt needs a topic to publish to, such as topic = "kitchen/siren"')
        if self.mqtt is None and self.topic is not None:
            raise ValueError("topic belongs to mqtt = the name of a broker; add that or remove topic")
        if self.topic is not None and any(sign in self.topic for sign in "+#\0"):
            raise ValueError(f'"{self.topic}" has a wildcard; a message goes to one topic')
        if self.command is not None and (not self.command or not self.command[0]):
            raise ValueError('command needs a program, such as command = ["espeak-ng", "{text}"]')
        return self


class PersonSettings(Strict):
    """``[person.ID]``: somebody who can be called."""

    name: str = Field(min_length=1, max_length=80)
    channels: tuple[str, ...] = Field(default=(), strict=False)


class CallStepSettings(Strict):
    """``[[callout.steps]]``: call these people, then wait for an answer before the next step."""

    people: tuple[str, ...] = Field(default=(), strict=False)
    wait: DurationText = 300_000


class CalloutSettings(Strict):
    """``[[callout]]``: who is called about alarms of these priorities."""

    priorities: tuple[PriorityWord, ...] = Field(strict=False)
    repeat_every: DurationText = 600_000
    steps: tuple[CallStepSettings, ...] = Field(default=(), strict=False)


class ButtonSettings(Strict):
    """``[[button]]``: what a message on a topic asks for."""

    mqtt: str
    topic: str = Field(min_length=1)
    does: Literal["acknowledge", "advance", "hold", "undo"]


class KitchenFile(Strict):
    """The whole file."""

    kitchen: KitchenSettings
    web: WebSettings = WebSettings()
    serial: dict[Id, SerialSettings] = Field(default_factory=dict)
    modbus: dict[Id, ModbusSettings] = Field(default_factory=dict)
    mqtt: dict[Id, MqttSettings] = Field(default_factory=dict)
    probe: dict[Id, ProbeSettings] = Field(default_factory=dict)
    station: dict[Id, StationSettings] = Field(default_factory=dict)
    channel: dict[Id, ChannelSettings] = Field(default_factory=dict)
    person: dict[Id, PersonSettings] = Field(default_factory=dict)
    callout: tuple[CalloutSettings, ...] = Field(default=(), strict=False)
    button: tuple[ButtonSettings, ...] = Field(default=(), strict=False)
