"""Which devices to test again oneself, and how far the readings submitted agree with what one finds."""
