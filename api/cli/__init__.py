"""The command `dipcast`: one module for each thing it does.

Heavy libraries are imported inside the commands, so that help and `dipcast litres` come at once.

Flow     arguments, files -> **cli** -> use cases, engine -> words or JSON

=============  ===========================================================================
`app`          the commands
`options`      their options, each described once
`values`       options that are more than a word: numbers, days, lead times, orders
`given`        what was given: files, their layout, how oil is ordered
`litres`       dip to litres and back
`gather`       files to the engine's inputs
`desk`         on which they are read, what is wrong kept for the end
`ordering`     how oil is ordered and what it costs, to the engine's settings
`forecast`     one forecast from files
`account`      what was burned, month by month
`telling`      the answer, its table and what it rests on, in words
`bring_in`     files into the database
`service`      the database and the web server as a process
`listening`    the broker's subscriber as a process
`demo`         the invented valley
`accounts`     accounts, keys and phones, from the machine itself
`trouble`      the one place where an error becomes words and an exit code
=============  ===========================================================================

Exit codes: 0 answered (a forecast that is withheld is an answer too), 2 input not usable, 3 answered
with rows set aside.
"""

from api.cli.app import app

__all__ = ["app", "main"]


def main() -> None:
    """Run the command; the entry point of the package."""
    app(prog_name="dipcast")
