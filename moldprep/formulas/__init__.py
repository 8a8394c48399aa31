"""Physics of the trade as plain functions of numbers: no meshes, no files, no settings."""
