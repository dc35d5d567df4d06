"""Audit sheets of residual current device test readings."""
