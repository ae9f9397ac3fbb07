"""Run all benchmarks and write them down."""

from tests.benchmarks.run import main

main()
