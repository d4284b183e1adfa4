"""Write a shelf of the newest version, on which everything has happened once, to tests/data/shelf, and an export of it.

    python tests/shelf_of_today.py

Run it before the tables change: files of every version must still be understood, which tests/shelf/test_migrating.py
sees to.
"""

import shutil
import tempfile
from pathlib import Path

from made.shelves import Clock, lived_on

from fitmatch.shelf import export, open_shelf
from fitmatch.shelf.store.schema import VERSIONS

DATA = Path(__file__).parent / "data" / "shelf"


def main() -> None:
    """Write both."""
    name = f"version-{VERSIONS[-1]}"
    shutil.rmtree(DATA / name, ignore_errors=True)
    (DATA / f"{name}.db").unlink(missing_ok=True)
    DATA.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        shelf = open_shelf(Path(folder) / "shelf.db", clock=Clock())
        lived_on(shelf, Path(folder))
        with shelf.writing() as connection:  # it may be written anywhere
            connection.exec_driver_sql("UPDATE jobs SET folder = '/shop/first'")
        export(shelf, DATA / name)
        shutil.copy(Path(folder) / "shelf.db", DATA / f"{name}.db")


if __name__ == "__main__":
    main()
