"""The journal: what was asked and what was answered, one entry after the other, each bound to the last.

Off unless a file is named for it.  `store.py` keeps the entries, `chain.py` says how they are bound and finds the first that
is not, `export.py` writes them out.

What a chain shows and what it does not: an entry that was changed, left out, put in or moved breaks it, and so does an entry
cut off at the end as long as the file's own count was left alone.  Whoever may write the file and knows how can still make
the whole chain anew; against that, the last hash (`dosecheck journal head`) is noted down elsewhere, and
`verify --head` looks for it.
"""

from dosecheck.journal.chain import Break, Entry
from dosecheck.journal.store import Journal

__all__ = ["Break", "Entry", "Journal"]
