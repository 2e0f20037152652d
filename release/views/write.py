"""A report written as one HTML file that needs nothing beside it."""

import base64
import os
from importlib import resources
from pathlib import Path

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from release.views.result import Chart, Report


def render_report(report: Report) -> str:
    """The report as HTML: style, charts and pictures are inside; text from outside is escaped."""
    pages = Environment(
        loader=PackageLoader("release.views"), autoescape=True, undefined=StrictUndefined, trim_blocks=True
    )
    pages.filters["data_uri"] = _data_uri
    pages.filters["drawing"] = _drawing
    style = resources.files("release.views").joinpath("templates/report.css").read_text(encoding="utf-8")
    return pages.get_template("report.html").render(report=report, style=Markup(style))


def write_report(report: Report, path: Path) -> None:
    """Write the report, whole or not at all: a reader never meets half a file."""
    path.parent.mkdir(parents=True, exist_ok=True)
    unfinished = path.with_name(path.name + ".part")
    unfinished.write_text(render_report(report), encoding="utf-8")
    os.replace(unfinished, path)


def _data_uri(jpeg: bytes) -> str:
    return "data:image/jpeg;base64," + base64.b64encode(jpeg).decode("ascii")


def _drawing(chart: Chart) -> Markup:
    """SVG made by our own charts, whose text matplotlib has escaped."""
    return Markup(chart.svg)
