"""How a maker meets moldprep: the command line. Thin: everything is computed elsewhere."""
