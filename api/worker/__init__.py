"""What the service does by itself: nightly forecasts, weather, reminders, backups.

Flow     wiring -> **worker** -> use cases; `schedule` says what is due, `jobs` what is done

Every instance of the worker may run the same jobs: each run is claimed in the database first.
"""
