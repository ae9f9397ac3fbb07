"""Signing up and in, sharing a tank, pairing phones, keys, export and erasure.

Flow     pages, commands -> **accounts** -> store
"""
