"""From an understood sheet to tests and readings."""
