"""Templates of ours, filled so that whatever came from outside is escaped and a missing name is an error."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined, Template

from dosecheck.showing import keep_together


@cache
def template(path: Path) -> Template:
    """The template at `path`; its filter `tight` keeps an amount and its unit on one line."""
    made = Environment(loader=FileSystemLoader(path.parent), autoescape=True, undefined=StrictUndefined)
    made.filters["tight"] = keep_together
    return made.get_template(path.name)


@cache
def style(path: Path) -> Any:
    """Our own style file, to stand in a page as it is; never what a user wrote."""
    from markupsafe import Markup

    return Markup(path.read_text("utf-8"))
