"""Cold air, wind shelter, speed-up over hills."""
