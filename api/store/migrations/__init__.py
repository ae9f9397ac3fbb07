"""How the database came to its present shape, step by step; `api.store.migrate` runs the steps."""
