"""Reads orders from a table or a query of a database, and writes results into a new table, by SQLAlchemy and the driver that the address names.

    sqlite:///orders.db#orders          postgresql+psycopg://user@host/ward#orders

What stands after the # is the table.  A password never comes into a message, a ledger or a log: addresses are told without it.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from types import TracebackType
from typing import Any, Self

import polars as pl

from dosecheck.batch.cells import chunk_of_cells
from dosecheck.batch.chunk import Chunk, shown
from dosecheck.errors import DosecheckError, FileError

_ROWS = 50_000


def is_address(source: str) -> bool:
    return "://" in source


def told(address: str) -> str:
    """The address as it may be shown: without password and options.  What is no address of a database stays as it is."""
    if not is_address(address):
        return address
    url, _, table = address.partition("#")
    try:
        from sqlalchemy.engine import make_url
        from sqlalchemy.exc import ArgumentError
    except ImportError:  # whoever reads or writes it says what to install
        return f"{url.partition('://')[0]}://..."
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
            if connection.dialect.name == "sqlite":
                _refuse_cut(connection, told(address))
            yield from _pieces(found, told(address))


def _refuse_missing(path: str, place: str) -> None:
    """SQLite itself would make an empty file of this name."""
    if path not in ("", ":memory:") and not path.startswith("file:") and not os.path.exists(path):
        raise FileError(place, "There is no such file.", "Check the name.")


def _refuse_cut(connection: Any, place: str) -> None:
    """A file of whole pages: what is missing of the last one SQLite itself takes for zeros."""
    path, page = connection.engine.url.database or "", connection.exec_driver_sql("pragma page_size").scalar()
    if os.path.isfile(path) and os.path.getsize(path) % page:
        raise FileError(place, "Its file is cut short.", "Fetch it again.")


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


class NewTable:
    """Writes rows of text into a table that is not there yet, in one transaction: all of it stands there at the end, or nothing.

    Raises:
        FileError: no table is named, it is there already, or the database cannot be written.
    """

    def __init__(self, address: str, columns: Sequence[str]) -> None:
        self._address, self._columns = address, list(columns)
        if not address.partition("#")[2]:
            raise FileError(told(address), "No table is named for the results.", "Write it after a #, such as sqlite:///orders.db#results.")

    def __enter__(self) -> Self:
        self._stack = ExitStack()
        self._connection, self._text = self._stack.enter_context(_connected(self._address, "written"))
        try:
            self._begin()
        except BaseException:
            if not self._stack.__exit__(*sys.exc_info()):
                raise
        return self

    def _begin(self) -> None:
        from sqlalchemy import inspect

        table = self._address.partition("#")[2]
        schema, _, name = table.rpartition(".")
        if inspect(self._connection).has_table(name, schema=schema or None):
            raise FileError(told(self._address), "The table is there already.", "Name another one for the results.")
        quote = self._connection.dialect.identifier_preparer.quote
        self._connection.rollback()  # the look itself began a transaction
        columns = ", ".join(f"{quote(column)} text" for column in self._columns)
        self._connection.execute(self._text(f"create table {_quoted(self._connection, table)} ({columns})"))
        marks = ", ".join(f":c{place}" for place in range(len(self._columns)))
        self._insert = self._text(f"insert into {_quoted(self._connection, table)} values ({marks})")

    def write(self, rows: pl.DataFrame) -> None:
        """Adds the rows, in order."""
        names = [f"c{place}" for place in range(len(self._columns))]
        with _one_error(self._connection.engine, self._address, "written"):
            for piece in rows.select(self._columns).iter_slices(_ROWS):
                self._connection.execute(self._insert, [dict(zip(names, row, strict=True)) for row in piece.iter_rows()])

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        try:
            if kind is None:
                with _one_error(self._connection.engine, self._address, "written"):
                    self._connection.commit()
        finally:
            self._stack.close()  # what was not committed is rolled back


@contextmanager
def _one_error(engine: Any, address: str, what: str) -> Iterator[None]:
    """Each failure of the database as one error without the password."""
    from sqlalchemy.exc import SQLAlchemyError

    try:
        yield
    except SQLAlchemyError as error:
        why = str(getattr(error, "orig", None) or error).strip().partition("\n")[0]
        raise FileError(
            told(address),
            f"It cannot be {what}: {shown(_without(engine.url.password, why))}",
            "Look at the address, the table and the rights.",
        ) from None


@contextmanager
def _connected(address: str, what: str = "read") -> Iterator[tuple[Any, Any]]:
    """A connection, and the function that makes a statement of a text."""
    try:
        from sqlalchemy import create_engine, event, text
        from sqlalchemy.exc import ArgumentError, NoSuchModuleError
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
    if engine.dialect.name == "sqlite":
        if what == "read":
            _refuse_missing(engine.url.database or "", told(address))
        # its driver would let a table stand that a broken transaction made
        event.listen(engine, "connect", lambda connection, _: setattr(connection, "isolation_level", None))
        event.listen(engine, "begin", lambda connection: connection.exec_driver_sql("begin"))
    try:
        with _one_error(engine, address, what), engine.connect() as connection:
            yield connection, text
    finally:
        engine.dispose()


def _without(password: Any, text: str) -> str:
    return text.replace(str(password), "***") if password else text
