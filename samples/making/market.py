"""The invented market: people, instruments, places and goods. Nobody and nothing here exists."""

from __future__ import annotations

TECHNICIANS = ("A. Snowfield", "B. Icicle", "C. Lantern", "D. Pinecone", "E. Sleighbell")
INSTRUMENTS = ("Meter A", "Meter B", "Meter C", "Meter D", "Meter E")

STALLS = (
    "mulled wine", "roast chestnuts", "candles", "wooden toys", "felt slippers", "gingerbread", "soup",
    "carved lamps", "beeswax", "knitted hats", "potato fritters", "glass stars", "waffles", "pottery",
    "tea", "brushes",
)  # fmt: skip
LEADS = ("four-outlet board", "single-outlet lead", "reel, 25 m", "two-outlet board")
AREAS = (
    "Lantern Street", "Fir Walk", "Frost Square", "Bell Yard", "Sled Lane",
    "Holly Court", "Star Alley", "Candle Row", "Drift Corner", "Icefield",
)  # fmt: skip

# The depot, in September.
DEPOT_TECHNICIANS = ("F. Mitten", "G. Wreath", "H. Ember", "J. Tinsel")
SHELVES = (
    "Shelf 1", "Shelf 2", "Cold store", "Bay north", "Bay south", "Rack 6", "Loft", "Cellar", "Yard shed",
)  # fmt: skip
