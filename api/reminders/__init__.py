"""When to say something, and in which words: pure functions of what is known.

Flow     forecast, orders, silences, what was said before -> **decide** -> **words** -> outbox
"""
