"""Imports go down the house, never up and never in a circle (DEVELOPERS.md has the table)."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

import logger

HOUSE = Path(logger.__file__).parent
FLOOR = {
    "firmware_protocol": 1,
    "recording": 2,
    "orientation": 3,
    "calibration": 4,
    "horizon_fit": 5,
    "access": 5,
    "agreement": 5,
    "terrain": 5,
    "job": 6,
    "parallax": 6,
    "survey": 7,
    "report": 8,
    "live": 9,
    "page": 10,
    "cli": 11,
}
GROUND, SIMULATION = "ground", "simulation"
ROOMS = [GROUND, SIMULATION, *(room for room in FLOOR if room != "firmware_protocol")]


def module_of(path: Path) -> str:
    parts = ("logger", *path.relative_to(HOUSE).with_suffix("").parts)
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


FILES = {module_of(path): path for path in sorted(HOUSE.rglob("*.py"))}


def room_of(module: str) -> str:
    """The room a module lives in; the files that lie beside the rooms are the ground."""
    first, _, rest = module.partition(".")
    if first == "firmware_protocol":
        return first
    room = rest.partition(".")[0]
    return room if (HOUSE / room).is_dir() and room else GROUND


def imported(module: str, *, first_only: bool = False) -> Iterator[str]:
    """The project's modules that a module imports; `first_only`: those imported as it is loaded."""
    tree = ast.parse(FILES[module].read_text(encoding="utf-8"))
    nodes = tree.body if first_only else ast.walk(tree)
    for node in nodes:
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and not node.level and node.module:
            both = [f"{node.module}.{alias.name}" for alias in node.names]
            names = [name if name in FILES else node.module for name in both]
        else:
            continue
        yield from (n for n in names if n.split(".")[0] in ("logger", "firmware_protocol"))


def may_import(room: str, other: str) -> bool:
    if other in (room, GROUND):
        return True
    if room == GROUND:
        return False
    if room == SIMULATION:
        return other == "firmware_protocol"
    if other == SIMULATION:
        return room == "cli"
    return FLOOR[other] < FLOOR[room]


def test_every_room_has_its_floor() -> None:
    assert {room_of(module) for module in FILES} == set(ROOMS)


@pytest.mark.parametrize("room", ROOMS)
def test_a_room_imports_only_from_the_floors_below_it(room: str) -> None:
    faults = [
        f"{module} imports {name}"
        for module in FILES
        # The public face offers names of every room, loaded when first used.
        if room_of(module) == room and module != "logger"
        for name in imported(module)
        if name != "logger" and not may_import(room, room_of(name))
    ]
    assert not faults


def test_no_module_imports_itself_by_way_of_others() -> None:
    order = TopologicalSorter(
        {
            module: {name for name in imported(module, first_only=True) if name in FILES}
            for module in FILES
            if module != "logger"
        }
    )
    assert list(order.static_order())
