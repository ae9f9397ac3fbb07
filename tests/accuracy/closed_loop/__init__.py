"""The order rule in a closed loop: order when it says so, wait, burn, and see whether the boiler stopped.

Flow     lives of true houses (tests.accuracy.world) -> **what a look tells** (looks) -> tanks replayed on
         the life's burn under each rule (replay) -> run-outs, litres left, deliveries a year (run)

A delivery changes the level and never the burn, so one life serves tanks of several sizes, and one look
serves all of them and every risk: what burns until a delivery does not depend on what is in the tank.
The level is known as well, or as badly, as the engine knows it for the life's own tank and sensor: its
error of that day is carried over. Rules that are no forecast (a fixed reserve) see the true level.
"""
