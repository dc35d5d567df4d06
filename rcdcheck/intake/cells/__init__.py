"""What a typed cell means: one scalar function a kind, called once for each distinct cell."""
