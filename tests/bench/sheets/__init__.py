"""A maker of sheets whose outcomes are known, and a scorer of what the program says about them."""
