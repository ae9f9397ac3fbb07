"""Orders, reminders and their outbox, claims of the worker.

Flow     columns -> **tables** -> store
"""
