"""`python -m dosecheck` and the `dosecheck` command."""

from __future__ import annotations


def main() -> None:
    """Runs the command line."""
    import gc

    gc.disable()  # one short check makes no garbage worth looking for; `batch` turns it on again
    from dosecheck.cli import run

    try:
        run()
    finally:
        gc.freeze()  # else leaving looks through all of it once more, which costs a tenth of a check


if __name__ == "__main__":
    main()
