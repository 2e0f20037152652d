"""A pitcher's page written as one HTML file, or as a PDF to print."""

import os
from importlib import resources
from pathlib import Path

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from release.errors import ReleaseError
from release.views.pitcher import PitcherPage
from release.views.result import Chart


class PdfNotPossible(ReleaseError):
    """What draws the PDF is not on this machine."""

    def __init__(self, why: str) -> None:
        super().__init__(
            f"a PDF cannot be made here: {why}. Install the extra `pdf` and Debian's libpango-1.0-0 "
            "and libpangoft2-1.0-0, or write an .html file and print that from a browser"
        )


def write_pitcher_page(page: PitcherPage, path: Path) -> None:
    """Write the page, whole or not at all; the ending .pdf asks for a PDF, anything else is HTML.

    Raises:
        PdfNotPossible: A PDF is asked for where weasyprint or its libraries are missing.
    """
    html = render_pitcher_page(page)
    path.parent.mkdir(parents=True, exist_ok=True)
    unfinished = path.with_name(path.name + ".part")
    if path.suffix.lower() == ".pdf":
        unfinished.write_bytes(_pdf(html))
    else:
        unfinished.write_text(html, encoding="utf-8")
    os.replace(unfinished, path)


def render_pitcher_page(page: PitcherPage) -> str:
    """The page as HTML that needs nothing beside it; text from outside is escaped."""
    pages = Environment(
        loader=PackageLoader("release.views"), autoescape=True, undefined=StrictUndefined, trim_blocks=True
    )
    pages.filters["drawing"] = _drawing
    style = resources.files("release.views").joinpath("templates/report.css").read_text(encoding="utf-8")
    return pages.get_template("pitcher.html").render(page=page, style=Markup(style))


def _drawing(chart: Chart) -> Markup:
    """SVG made by our own charts, whose text matplotlib has escaped."""
    return Markup(chart.svg)


def _pdf(html: str) -> bytes:
    try:
        from weasyprint import HTML
    except (ImportError, OSError) as error:
        raise PdfNotPossible(str(error).splitlines()[0]) from error
    pdf = HTML(string=html).write_pdf()
    assert pdf is not None  # without a target it answers the bytes
    return pdf
