"""Run all benchmarks and write them down."""

from tests.benchmarks import run, service

if __name__ == "__main__":  # processes are started anew from here
    run.main()
    service.main()
