"""Verbs that change data. Each takes the session first and plain values, flushes, and never commits."""
