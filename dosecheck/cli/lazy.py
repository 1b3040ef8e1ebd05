"""A group of commands each of which is loaded only when it is asked for: nobody waits for the others' imports."""

from __future__ import annotations

from collections.abc import Mapping
from importlib import import_module

import click


class LazyGroup(click.Group):
    """Args: package: where the commands' modules are, each with a `command`; about: command to its line of help, in order.

    elsewhere: commands whose module is not in `package`.
    """

    def __init__(self, *args: object, package: str, about: dict[str, str], elsewhere: Mapping[str, str] = {}, **settings: object) -> None:
        super().__init__(*args, **settings)
        self.package, self.about, self.elsewhere = package, about, elsewhere

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(self.about)

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        if name not in self.about:
            return None
        return import_module(self.elsewhere.get(name) or f"{self.package}.{name.replace('-', '_')}").command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(list(self.about.items()))
