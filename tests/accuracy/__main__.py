"""``python -m tests.accuracy``: run the replays and print their tables; DIPCAST_DATA names a data folder."""

import os
from pathlib import Path

from tests.accuracy.run import RESULTS, main
from tests.accuracy.tables import (
    command_losses,
    command_table,
    error_table,
    load,
    losses,
    paired_table,
    telling_table,
)

if __name__ == "__main__":
    folder = os.environ.get("DIPCAST_DATA", "")
    main(Path(folder) if folder else None)
    results = load(RESULTS)
    for table in (error_table, command_table, telling_table, paired_table):
        print(table(results), end="\n\n")
    print("\n".join(losses(results)), end="\n\n")
    print("\n".join(command_losses(results)))
