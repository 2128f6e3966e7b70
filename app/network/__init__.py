"""Phones on the house network: our own certificates, the doors for https and for trust, a name that stays.

Nothing here knows a page or a record. It is imported only where the house is opened to its network.
"""
