"""The templates of the live page: its own, and those of the report page that it shares. Imports the report's folder."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

from optimizer.output.report import HERE as REPORT

HERE = Path(__file__).parent


@cache
def template(name: str) -> Any:
    """A template by its file's name."""
    return _environment().get_template(name)


@cache
def _environment() -> Any:
    import jinja2

    return jinja2.Environment(
        loader=jinja2.FileSystemLoader([HERE, REPORT]),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def text_of(name: str) -> str:
    """A file of this folder, or of the report page's, as text."""
    place = HERE / name
    return (place if place.exists() else REPORT / name).read_text(encoding="utf-8")
