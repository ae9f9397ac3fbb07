"""Simulated houses whose truth is known: the engine beside an oracle and every rival.

Flow     world -> lives (tests.accuracy.world) -> **records** (houses) -> replays of the engine, the oracle
         and the rivals (forecaster.backtest) -> **trials** -> rows of simulated.json -> tables

Every method is given the same weather years, drawn as the engine draws them. The oracle runs the true
house from its true state and lacks only the weather and the whims of the days ahead: nobody can do
better, so scores are told as multiples of its own.
"""
