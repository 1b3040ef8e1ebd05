"""A group of commands each of which is loaded only when it is asked for: nobody waits for the others' imports."""

from __future__ import annotations

from importlib import import_module

import click


class LazyGroup(click.Group):
    """Args: package: where the commands' modules are, each with a `command`; about: command to its line of help, in order."""

    def __init__(self, *args: object, package: str, about: dict[str, str], **settings: object) -> None:
        super().__init__(*args, **settings)
        self.package, self.about = package, about

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(self.about)

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        return import_module(f"{self.package}.{name.replace('-', '_')}").command if name in self.about else None

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(list(self.about.items()))
