"""Reads orders from a table or a query of a database, by SQLAlchemy and the driver that the address names.

    sqlite:///orders.db#orders          postgresql+psycopg://user@host/ward#orders

What stands after the # is the table.  A password never comes into a message, a ledger or a log: addresses are told without it.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from dosecheck.batch.cells import chunk_of_cells
from dosecheck.batch.chunk import Chunk, shown
from dosecheck.errors import DosecheckError, FileError

_ROWS = 50_000


def is_address(source: str) -> bool:
    return "://" in source


def told(address: str) -> str:
    """The address as it may be shown: without password and options."""
    from sqlalchemy.engine import make_url
    from sqlalchemy.exc import ArgumentError

    url, _, table = address.partition("#")
    try:
        known = make_url(url)
    except (ArgumentError, ValueError):
        return f"{url.partition('://')[0]}://..."
    plain = known.set(password=None, query={}).render_as_string(hide_password=True)
    return plain + (f"#{table}" if table else "")


def read_database(address: str, query: str) -> Iterator[Chunk]:
    """The rows of a table or of a query, in pieces, through a cursor that stays with the server.

    Args:
        query: in place of a table after the #.

    Raises:
        FileError: the database cannot be reached or read, or neither table nor query is told, or both.
        DosecheckError: SQLAlchemy or the driver is not installed.
    """
    with _connected(address) as (connection, text):
        _, _, table = address.partition("#")
        if bool(table) == bool(query):
            raise FileError(told(address), "Neither a table nor a query is told." if not query else "A table and a query are both told.",
                            "Write the table after a #, such as sqlite:///orders.db#orders, or give --query.")  # fmt: skip
        asked = query or f"select * from {_quoted(connection, table)}"
        with connection.execution_options(stream_results=True, yield_per=_ROWS).execute(text(asked)) as found:
            yield from _pieces(found, told(address))


def _pieces(found: Any, place: str) -> Iterator[Chunk]:
    names = list(found.keys())
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise FileError(place, f'The query gives two columns "{shown(twice[0])}".', "Name each column once.")
    first = 1
    for piece in found.partitions(_ROWS):
        yield chunk_of_cells(piece, names, first)
        first += len(piece)
    if first == 1:
        yield chunk_of_cells([], names, 1)


def _quoted(connection: Any, table: str) -> str:
    """The table's name, with its schema if it has one, safe within a statement."""
    quote = connection.dialect.identifier_preparer.quote
    return ".".join(quote(part) for part in table.split("."))


@contextmanager
def _connected(address: str) -> Iterator[tuple[Any, Any]]:
    """A connection that only reads, and the function that makes a statement of a text; each failure is one error without the password."""
    try:
        from sqlalchemy import create_engine, text
        from sqlalchemy.exc import ArgumentError, NoSuchModuleError, SQLAlchemyError
    except ImportError:
        raise DosecheckError(
            'A database needs SQLAlchemy. Write: pip install "dosecheck[database]", and the driver of your database.'
        ) from None
    try:
        engine = create_engine(address.partition("#")[0])
    except ImportError as error:  # of the driver
        raise DosecheckError(f"The driver {error.name} is not installed. Write: pip install {error.name}") from None
    except (ArgumentError, NoSuchModuleError, ValueError):
        raise FileError(told(address), "This is no address of a database.", "Write it as sqlite:///orders.db#orders.") from None
    try:
        with engine.connect() as connection:
            yield connection, text
    except SQLAlchemyError as error:
        why = str(getattr(error, "orig", None) or error).strip().partition("\n")[0]
        raise FileError(
            told(address),
            f"It cannot be read: {shown(_without(engine.url.password, why))}",
            "Look at the address, the table and the rights.",
        ) from None
    finally:
        engine.dispose()


def _without(password: Any, text: str) -> str:
    return text.replace(str(password), "***") if password else text
