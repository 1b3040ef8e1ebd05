# %% [markdown]
# Orders of the Saltmarsh Island children's clinic (invented), checked in a notebook.
#
# Each part that begins with "# %%" is a cell in the editors that know notebooks; the whole page also runs as it is:
# `python -m dosecheck.demo.notebook`.

# %%
from datetime import date
from importlib.resources import files

import polars as pl

from dosecheck import Formulary, check_frame

# %% [markdown]
# Every column is read as text: an identifier keeps its zeros, and a dose its unit.

# %%
orders = pl.read_csv(files("dosecheck.demo") / "orders.csv", infer_schema=False)
formulary = Formulary()  # your own: Formulary("path/of/its/folder")

# %% [markdown]
# One answer for each row, beside the row: a second check of the arithmetic; the prescriber decides.
# A pandas DataFrame or an Arrow table goes in, and comes back, the same way.

# %%
checked = check_frame(orders, formulary, today=date(2026, 5, 4))
print(checked.group_by("outcome").len().sort("outcome"))

# %% [markdown]
# What to look at first: the orders that are furthest above their most, each with its reason.

# %%
over = pl.col("times_the_most").cast(pl.Decimal(20, 3))
first = checked.filter(pl.col("outcome") == "stop").sort(over, descending=True, nulls_last=True)
for row in first.head(3).iter_rows(named=True):
    print(f"{row['order_id']}  {row['medicine']} {row['dose']}: {row['sentence']}")

# %% [markdown]
# What could not be checked is no all-clear: somebody has to look.

# %%
for row in checked.filter(pl.col("outcome") == "not-checked").head(3).iter_rows(named=True):
    print(f"{row['order_id']}  {row['medicine']} {row['dose']}: {row['sentence']}")
