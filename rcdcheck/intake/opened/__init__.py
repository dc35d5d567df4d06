"""Bytes to grids of cells, safely, by content."""
