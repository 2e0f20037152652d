"""Pages written as one HTML file that needs nothing beside it, or as a PDF to print."""

import base64
import os
from importlib import resources
from pathlib import Path

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from release.errors import ReleaseError
from release.views.pitcher import PitcherPage
from release.views.result import Chart, Report


class PdfNotPossible(ReleaseError):
    """What draws the PDF is not on this machine."""

    def __init__(self, why: str) -> None:
        super().__init__(
            f"a PDF cannot be made here: {why}. Install the extra `pdf` and Debian's libpango-1.0-0 "
            "and libpangoft2-1.0-0, or write an .html file and print that from a browser"
        )


def render_report(report: Report) -> str:
    """The report as HTML: style, charts and pictures are inside; text from outside is escaped."""
    return render("report.html", report=report, style=_style())


def render_pitcher_page(page: PitcherPage) -> str:
    """A pitcher's page as HTML, likewise."""
    return render("pitcher.html", page=page, style=_style())


def write_report(report: Report, path: Path) -> None:
    """Write the report, whole or not at all: a reader never meets half a file."""
    write_page(render_report(report), path)


def write_pitcher_page(page: PitcherPage, path: Path) -> None:
    """Write the page, whole or not at all; the ending .pdf asks for a PDF, anything else is HTML.

    Raises:
        PdfNotPossible: A PDF is asked for where weasyprint or its libraries are missing.
    """
    write_page(render_pitcher_page(page), path)


def render(template: str, **values: object) -> str:
    """One of our templates with its values; text from outside is escaped."""
    pages = Environment(
        loader=PackageLoader("release.views"), autoescape=True, undefined=StrictUndefined, trim_blocks=True
    )
    pages.filters["data_uri"] = _data_uri
    pages.filters["drawing"] = _drawing
    return pages.get_template(template).render(**values)


def write_page(html: str, path: Path) -> None:
    """Write HTML, or a PDF of it where the name ends in .pdf; whole or not at all.

    Raises:
        PdfNotPossible: A PDF is asked for where weasyprint or its libraries are missing.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    unfinished = path.with_name(path.name + ".part")
    unfinished.write_bytes(pdf_of(html) if path.suffix.lower() == ".pdf" else html.encode("utf-8"))
    os.replace(unfinished, path)


def _style() -> Markup:
    return Markup(
        resources.files("release.views").joinpath("templates/report.css").read_text(encoding="utf-8")
    )


def _data_uri(jpeg: bytes) -> str:
    return "data:image/jpeg;base64," + base64.b64encode(jpeg).decode("ascii")


def _drawing(chart: Chart) -> Markup:
    """SVG made by our own charts, whose text matplotlib has escaped."""
    return Markup(chart.svg)


def pdf_of(html: str) -> bytes:
    """A page as PDF.

    Raises:
        PdfNotPossible: weasyprint or its libraries are missing.
    """
    try:
        from weasyprint import HTML  # slow to import, and needs system libraries that HTML does not
    except (ImportError, OSError) as error:
        raise PdfNotPossible(str(error).splitlines()[0]) from error
    pdf = HTML(string=html).write_pdf()
    assert pdf is not None  # without a target it answers the bytes
    return pdf
