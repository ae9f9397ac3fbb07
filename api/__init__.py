"""The service around the engine: files, database, web, command line."""
