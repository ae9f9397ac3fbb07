"""``python -m tests.accuracy``: run the replays and print their tables; DIPCAST_DATA names a data folder."""

import os
from pathlib import Path

from tests.accuracy.run import RESULTS, main
from tests.accuracy.tables import error_table, load, losses

if __name__ == "__main__":
    folder = os.environ.get("DIPCAST_DATA", "")
    main(Path(folder) if folder else None)
    results = load(RESULTS)
    print(error_table(results))
    print("\n".join(losses(results)))
