"""Timings, run by hand: python -m tests.bench.columns, python -m tests.bench.planning."""
