"""Every setting is in config/README.md, with its default; a setting added without words there fails here."""

import re
import typing
from pathlib import Path

import pytest
from pydantic import BaseModel

from rimekeeper.config.kitchen import KitchenFile
from rimekeeper.config.sheet import SheetFile
from rimekeeper.core.process.cooling import RULES
from rimekeeper.core.process.heat_tables import TABLES
from rimekeeper.core.sensing.sensors import SENSORS

README = (Path(__file__).parents[2] / "config" / "README.md").read_text()


def models_in(annotation):
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for inside in typing.get_args(annotation):
        yield from models_in(inside)


def settings_of(model, seen=None):
    seen = seen if seen is not None else set()
    if model in seen:
        return
    seen.add(model)
    for name, field in model.model_fields.items():
        yield model.__name__, field.alias or name
        for inside in models_in(field.annotation):
            yield from settings_of(inside, seen)


def words_of(text):
    """Every word in backquotes, its last dotted part too."""
    words = set()
    for code in re.findall(r"`([^`]+)`", text):
        for word in re.findall(r"[a-z_]+(?:\.[a-z_]+)*", code):
            words |= {word, word.rsplit(".", 1)[-1], word.split(".", 1)[0]}
    return words


SENSOR_KEYS = {
    ("sensor", "kind"),
    *((kind.name, p.name) for kind in SENSORS.values() for p in kind.parameters),
}
SETTINGS = sorted({*settings_of(KitchenFile), *settings_of(SheetFile), *SENSOR_KEYS})
WORDS = words_of(README)


def test_settings_are_found():
    assert ("StageSettings", "reach_within") in SETTINGS
    assert ("UsbIdentity", "vendor") in SETTINGS
    assert len(SETTINGS) > 100
    assert "no_such_setting" not in WORDS


@pytest.mark.parametrize(("model", "name"), SETTINGS)
def test_a_setting_is_documented(model, name):
    assert name in WORDS, f"{name} of {model} is not in config/README.md"


@pytest.mark.parametrize("kind", SENSORS)
def test_a_kind_of_sensor_is_documented(kind):
    assert f'`"{kind}"`' in README


def test_nothing_is_documented_that_does_not_exist():
    """The first cell of every table row names keys that exist."""
    known = {name for _, name in SETTINGS}
    tables = re.findall(r"^\| (`[^|]+) \|", README, re.MULTILINE)
    written = {key.rsplit(".", 1)[-1] for cell in tables for key in re.findall(r"`([^`]+)`", cell)}
    assert written - known == set()


@pytest.mark.parametrize("name", [*TABLES, *RULES])
def test_a_heat_table_or_cooling_rule_is_documented(name):
    assert f'`"{name}"`' in README
