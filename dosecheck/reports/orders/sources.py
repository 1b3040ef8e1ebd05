"""The sources of a result's rows, numbered as they are first named, in words where the formulary at hand has them."""

from __future__ import annotations

from collections.abc import Iterator

from dosecheck.formulary.load import Formulary


class Sources:
    """`seen`: each source in words and its number, from 1."""

    def __init__(self, formulary: Formulary | None) -> None:
        self._formulary = formulary
        self._known = formulary.sources() if formulary else {}
        self.seen: dict[str, int] = {}

    def numbers(self, text: str | None) -> Iterator[int]:
        for each in self._parted(text or ""):
            in_words = self._formulary.source(each) if self._formulary and each.partition(", ")[0] in self._known else each
            yield self.seen.setdefault(in_words, len(self.seen) + 1)

    def _parted(self, text: str) -> list[str]:
        """The sources of a row that has several; a place may hold the same mark, so only a known id begins another."""
        parts: list[str] = []
        for piece in filter(None, text.split("; ")):
            if parts and piece.partition(", ")[0] not in self._known:
                parts[-1] += f"; {piece}"
            else:
                parts.append(piece)
        return parts
