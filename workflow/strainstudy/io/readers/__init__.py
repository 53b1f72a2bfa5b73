"""Raw files to numbers, one module a format; which module reads a file is told by its name alone."""
