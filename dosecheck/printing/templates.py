"""Templates of ours, filled so that whatever came from outside is escaped and a missing name is an error."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined, Template

from dosecheck.showing import keep_together

_RATIO = re.compile("[^ ]*\\d\u00a0[^ ]*/[^ ]*")  # an amount with a stroke, at which a printer of pages would break the line


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


def whole(text: str) -> Any:
    """The text escaped, with no amount ever parted from its unit nor within it; a page's style keeps the class `w` on one line."""
    from markupsafe import Markup, escape

    return Markup(_RATIO.sub(lambda found: f'<span class="w">{found[0]}</span>', str(escape(keep_together(text)))))


def ours(picture: str) -> Any:
    """A picture of our own, whose texts are escaped already."""
    from markupsafe import Markup

    return Markup(picture)
