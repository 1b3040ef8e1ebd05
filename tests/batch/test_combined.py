"""Combinations of columns, and what slots put together, each against rows looked at one by one."""

from __future__ import annotations

from typing import Any

import polars as pl
from hypothesis import given
from hypothesis import strategies as st

from dosecheck.batch.alike import Alike, Shown
from dosecheck.batch.columns import Distinct, combined, distinct

TEXTS = st.lists(st.tuples(*[st.sampled_from("abcd")] * 4), min_size=1, max_size=30)


def coded(values: Any) -> Distinct:
    return distinct(pl.Series(values, dtype=pl.String if isinstance(values[0], str | None) else None))


@given(TEXTS)
def test_each_row_has_its_own_combination(rows: list[tuple[str, ...]]) -> None:
    found = combined([coded(column) for column in zip(*rows, strict=True)])
    assert [found.values[n] for n in found.index] == rows


@given(st.lists(st.tuples(st.sampled_from("ab"), st.sampled_from(["a", None]), st.sampled_from("ab")), min_size=1, max_size=30))
def test_a_row_with_no_value_has_no_combination(rows: list[tuple[str | None, ...]]) -> None:
    """Also where the column has one value alone, so that it seems to tell no rows apart."""
    found = combined([coded(column) for column in zip(*rows, strict=True)])
    assert [None if n is None else found.values[n] for n in found.index] == [None if None in row else row for row in rows]


@given(TEXTS, st.integers(2**20, 2**45))
def test_keys_never_run_over(rows: list[tuple[str, ...]], unused: int) -> None:
    """However many values a column could have, of which these rows have a few at the far end."""

    class Many(list):
        """So many values, of which only the last ones are looked at."""

        def __len__(self) -> int:
            return unused

        def __getitem__(self, place: int) -> str:
            return super().__getitem__(place - unused)

    def far(column: tuple[str, ...]) -> Distinct:
        index, values = coded(column)
        return Distinct(index.cast(pl.Int64) + (unused - len(values)), Many(values))

    found = combined([far(column) for column in zip(*rows, strict=True)])
    assert [found.values[n] for n in found.index] == rows


@given(st.data())
def test_slots_put_together(data: st.DataObject) -> None:
    """Which rows are alike, and of each row the dose of the slot with the least bound, the earlier of equals."""
    count = data.draw(st.integers(1, 12))
    dose_of, bound_of = (st.one_of(st.none(), st.integers(first, 3)) for first in (1, 0))
    first = data.draw(st.lists(st.integers(0, 2), min_size=count, max_size=count))
    alike, shown = Alike(coded(first)), Shown(count)
    told: list[list[Any]] = [[value] for value in first]
    least: list[tuple | None] = [None] * count
    high: list[int | None] = [None] * count
    for slot in range(data.draw(st.integers(0, 4))):
        places = sorted(data.draw(st.sets(st.integers(0, count - 1), min_size=1)))
        states = [data.draw(st.integers(0, 2)) for _ in places]
        doses, bounds = ([data.draw(number) for _ in places] for number in (dose_of, bound_of))
        bounds = [bound if dose is not None else None for dose, bound in zip(doses, bounds, strict=True)]
        alike.divide(pl.Series(places, dtype=pl.UInt32), slot, coded(states))
        new = {"high": doses, "least": bounds, "bound": [None if bound is None else slot for bound in bounds]}
        shown.add(pl.Series(places, dtype=pl.UInt32), pl.DataFrame(new, schema=dict.fromkeys(new, pl.Int64)))
        for place, state, dose, bound in zip(places, states, doses, bounds, strict=True):
            told[place].append((slot, state))
            if bound is not None and (least[place] is None or dose * least[place][0] > high[place] * bound):
                least[place], high[place] = (bound, slot), dose
            elif high[place] is None:
                high[place] = dose
    assert [list(alike.answers[n]) for n in alike.number] == told
    assert len({alike.number[n] for n in range(count)}) == len({tuple(each) for each in told})
    expected = [(dose, *(bound or (None, None))) for dose, bound in zip(high, least, strict=True)]
    assert list(zip(*(column.to_list() for column in shown.columns()), strict=True)) == expected
