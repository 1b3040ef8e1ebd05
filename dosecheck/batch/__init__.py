"""Many orders at once: files of orders read and written, screened in columns, and explained.

`files.py` is the door for files: `read_orders` yields chunks of text (`chunk.py`) from CSV (`csv_cut.py`,
`csv_in.py`), Parquet and Arrow (`tables_in.py`), JSON Lines (`lines_in.py`), workbooks (`workbook_in.py`) and databases (`database.py`);
`ResultWriter` (`out.py`) writes a result beside, then replaces.  Only this folder needs polars and pyarrow; what the orders mean is left to the screen.
"""
