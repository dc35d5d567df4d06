"""How the sample sheets are made: an invented winter market and the people who test for it."""
