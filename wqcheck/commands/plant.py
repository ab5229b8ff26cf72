"""Turns the ``wqcheck plant`` commands into figures of a file of plant readings, with formula, source and caution."""

from __future__ import annotations

import json
import math
from dataclasses import asdict
from enum import StrEnum
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from wqcheck.commands.terminal import AsJson

if TYPE_CHECKING:
    from wqcheck.plant.figures import Figure

plant_app = typer.Typer(
    no_args_is_help=True,
    help="Working figures of the plant: membranes, scaling, pretreatment, disinfection, fit of the flows.",
)


class Units(StrEnum):
    """In which units figures are printed; the verdicts are the same."""

    SI = "si"
    US = "us"


ReadingsFile = Annotated[Path, typer.Argument(help="TOML file of plant readings, each with its unit.")]
InUnits = Annotated[Units, typer.Option("--units", help="Units to print in.")]


@plant_app.command()
def membrane(file: ReadingsFile, units: InUnits = Units.SI, as_json: AsJson = False) -> None:
    """Print recovery, rejections, balances and driving pressure, and the change since the baseline."""
    _report(file, "plant.figures.membrane_figures", units, as_json)


@plant_app.command()
def scaling(file: ReadingsFile, units: InUnits = Units.SI, as_json: AsJson = False) -> None:
    """Print what the concentrate is saturated with, and the highest recovery without antiscalant."""
    _report(file, "plant.water_figures.scaling_figures", units, as_json)


@plant_app.command()
def pretreatment(file: ReadingsFile, units: InUnits = Units.SI, as_json: AsJson = False) -> None:
    """Print silt density index, filter loading, carbon contact time and the days the cartridges have left."""
    _report(file, "plant.figures.pretreatment_figures", units, as_json)


@plant_app.command()
def disinfection(file: ReadingsFile, units: InUnits = Units.SI, as_json: AsJson = False) -> None:
    """Print the credits of UV and free chlorine: credited by tables, not demonstrated."""
    _report(file, "plant.figures.disinfection_figures", units, as_json)


@plant_app.command()
def fit(file: ReadingsFile, units: InUnits = Units.SI, as_json: AsJson = False) -> None:
    """Print the hourly balance of a production day: tanks that run dry or spill, stages rated below their flow."""
    _report(file, "plant.water_figures.fit_figures", units, as_json)


def _report(file: Path, figures: str, units: Units, as_json: bool) -> None:
    """Print the figures that a function of the library gives; it is loaded here so that ``--help`` answers at once."""
    module, _, name = figures.rpartition(".")
    readings = import_module("wqcheck.plant.readings").read_plant_readings(file)
    found: tuple[Figure, ...] = getattr(import_module(f"wqcheck.{module}"), name)(readings)
    caution: str = import_module("wqcheck.plant.figures").CAUTION
    if as_json:
        data = {"plant": readings.name, "file": readings.path, "sha256": readings.digest, "caution": caution}
        typer.echo(json.dumps(data | {"figures": [_as_data(figure) for figure in found]}, ensure_ascii=False, indent=2))
        return
    typer.echo(readings.name)
    for figure in found:
        typer.echo(_line(figure, units))
    typer.echo(caution, err=True)


def _line(figure: Figure, units: Units) -> str:
    show = import_module("wqcheck.quantities").show_quantity
    percent = figure.kind == "fraction" and math.isfinite(figure.value)
    value = f"{figure.value:.2%}" if percent else show(figure.value, figure.kind, us_units=units is Units.US)
    verdict = f"  [{figure.verdict}]" if figure.verdict else ""
    note = f"; {figure.note}" if figure.note else ""
    return f"  {figure.name}: {value}{verdict}\n      {figure.formula} ({figure.source}){note}"


def _as_data(figure: Figure) -> dict[str, Any]:
    unit = import_module("wqcheck.quantities").KINDS[figure.kind].si
    value = figure.value if math.isfinite(figure.value) else None
    return asdict(figure) | {"value": value, "unit": unit}
