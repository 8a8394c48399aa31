"""Geometry as pure functions on arrays: no trade words, no files, no settings."""
