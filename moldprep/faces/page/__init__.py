"""The local page: the same plan as the command line, looked at and steered in a browser."""
