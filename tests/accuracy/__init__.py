"""How well litres are foretold, replayed on open data of real buildings: ``python -m tests.accuracy``.

Flow     open data (data) -> oil tanks (tanks) -> replays of each method (replay, baselines, model)
         -> scores (run) -> results.json -> the tables of DEVELOPERS.md (tables)
         oil tanks -> files -> `dipcast forecast --json` (command) -> scores, states -> results.json

The fuel use and the weather are measured; the oil tank in front of them is computed, in the ways that
`data` and `tanks` state. A method sees the tank as a 1 cm sensor does, never the burn, and nothing
after its as-of day except, in the replays, the weather of the days to be foretold: so the burn model
is measured, not the weather forecast. The command is then asked as a user would, and knows no weather
ahead; neither do its rivals.
"""
