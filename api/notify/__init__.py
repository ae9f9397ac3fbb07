"""Ways out: mail, signed webhooks, a calendar, a broker, and further ways through a library.

Flow     message -> **way out** -> what became of it

A way out sends one message and says how that went; it keeps nothing and decides nothing.
"""
